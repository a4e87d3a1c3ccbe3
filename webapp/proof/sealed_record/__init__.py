"""A sealed record held against its own evidence: events, ledger, pages."""
