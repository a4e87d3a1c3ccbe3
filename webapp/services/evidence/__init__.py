"""The ledger, its audit, and the clock beside it."""
