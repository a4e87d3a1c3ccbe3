"""Signed heads of the ledger, and what checks a bundle by them."""
