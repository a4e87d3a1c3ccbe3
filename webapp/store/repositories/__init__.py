"""One repository a subject."""
