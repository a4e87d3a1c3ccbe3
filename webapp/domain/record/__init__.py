"""What a record says, as plain data."""
