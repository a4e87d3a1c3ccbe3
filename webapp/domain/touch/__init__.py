"""One touch: where to stand, how far and how fast, and what the touched value is compared with."""
