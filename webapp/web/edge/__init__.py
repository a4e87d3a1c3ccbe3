"""What stands before every view and goes with every answer."""
