"""Past values, the usual, budgets and probe checks."""
