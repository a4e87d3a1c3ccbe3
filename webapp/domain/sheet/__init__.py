"""The setup sheet."""
