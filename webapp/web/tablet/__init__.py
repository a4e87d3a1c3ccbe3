"""The page and the calls of a tablet."""
