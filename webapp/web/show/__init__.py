"""From stored values to what a page shows."""
