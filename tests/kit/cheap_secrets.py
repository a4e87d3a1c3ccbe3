"""Secrets that cost nothing to hash: the tests hash thousands.

What a guess costs in the product is held by `tests/proof/test_costs.py`, from what stood there before.
Servers that tests start hash at the full cost, and check what was hashed here at its own.
"""

from __future__ import annotations

import dataclasses

from argon2 import PasswordHasher

from webapp.proof.keys.key_file import USUAL_COST
from webapp.services.people import secret_rules

USUAL_HASHER, USUAL_WRAPPING = secret_rules._HASHER, dataclasses.replace(USUAL_COST)


def hash_cheaply() -> None:
    """From now on, in this process."""
    secret_rules._HASHER = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    for name, value in {"passes": 1, "memory_kib": 64, "lanes": 1}.items():
        object.__setattr__(USUAL_COST, name, value)
