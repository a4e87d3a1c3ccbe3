"""Use cases: one function each; it owns the transaction. Time, chance and identifiers are arguments."""
