"""Zerokeep: finding the vise of a shared mill with a spindle probe."""
