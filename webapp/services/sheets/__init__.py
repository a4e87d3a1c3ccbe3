"""Setup sheets, compiled from what is stored."""
