"""What a vise usually gives, the lines around it, how it moves, and tables of past values."""
