"""A probe held against a ring or a sphere of known size."""
