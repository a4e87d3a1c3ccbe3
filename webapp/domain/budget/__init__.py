"""The uncertainty budget of an axis."""
