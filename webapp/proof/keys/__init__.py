"""Keys, the file that keeps them, and what they sign and open: JWS and JWE."""
