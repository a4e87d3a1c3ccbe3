"""The ledger, walking along it, and the clock beside it."""
