"""A shop that has run for long: how one is made, and what its pages and calls cost."""
