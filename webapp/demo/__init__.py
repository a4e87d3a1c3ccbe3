"""An invented shop and a simulated mill."""
