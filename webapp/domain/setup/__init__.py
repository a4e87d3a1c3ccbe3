"""A setup as the sum of its events."""
