"""The seal of a PDF, and its judge."""
