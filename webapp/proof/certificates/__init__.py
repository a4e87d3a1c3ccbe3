"""The shop's own authority, and the certificates of its server."""
