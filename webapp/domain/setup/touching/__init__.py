"""What is done and typed at the row and at the faces."""
