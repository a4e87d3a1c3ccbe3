"""The self-audit: the ledger, what follows from it, and the rows and files beside it."""
