"""The ordered steps of a shop, what they must hold, and the procedure that ships."""
