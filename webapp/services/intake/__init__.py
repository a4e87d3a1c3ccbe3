"""Taking in what tablets send."""
