"""What goes otherwise than planned: troubles, worries, and stops with how they are lifted."""
