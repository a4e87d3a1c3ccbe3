"""Sums, spreads, fits and patterns of plain numbers, without a word of the trade."""
