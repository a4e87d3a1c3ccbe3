"""The shop: loaded from its file, changed by its lead."""
