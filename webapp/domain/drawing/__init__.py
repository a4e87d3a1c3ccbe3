"""The drawings of a touch, to scale, as plain marks."""
