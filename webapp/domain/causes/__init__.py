"""Likely causes of an odd value."""
