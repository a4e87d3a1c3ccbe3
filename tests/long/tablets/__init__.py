"""`python -m tests.long tablets [COUNT] [--on-server] [--news]`: many tablets and a desk at a real server.

Tablets speak as tablets do: signed events in portions, some sent twice because the answer was lost, some out
of order; between them they ask whether they reach the server and what is new. Setups were walked before, so
that the load costs the machine little beside the server. Told at the end: what is in the ledger beside what
was sent (nothing lost, nothing doubled), how long answers took, what the server's processes spent and held,
and what the same rows cost the bare database in the same run.
"""
