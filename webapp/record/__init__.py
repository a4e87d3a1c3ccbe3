"""From a finished setup to the bytes of its PDF."""
