"""The pages about numbers: fixtures, choices, budgets, probes, past values."""
