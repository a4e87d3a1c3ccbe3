"""What a guess of a secret costs whoever has a copy of the database or of the keys.

OWASP Password Storage Cheat Sheet, Argon2id: m=47104 (46 MiB), t=1, p=1 is the first of its equal choices;
RFC 9106 section 4, second recommended option: t=3, 64 MiB, 4 lanes.
"""

from __future__ import annotations

from argon2 import Type

from tests.kit.cheap_secrets import USUAL_HASHER, USUAL_WRAPPING
from webapp.proof.keys.key_file import USUAL_COST
from webapp.services.people import secret_rules


def test_a_hash_of_a_passphrase_or_a_pin_costs_what_is_recommended() -> None:
    assert USUAL_HASHER.type is Type.ID
    assert (USUAL_HASHER.time_cost, USUAL_HASHER.memory_cost, USUAL_HASHER.parallelism) == (1, 47_104, 1)
    assert USUAL_HASHER.hash("a passphrase").startswith("$argon2id$v=19$m=47104,t=1,p=1$")


def test_a_guess_at_the_keys_costs_what_is_recommended() -> None:
    assert (USUAL_WRAPPING.passes, USUAL_WRAPPING.memory_kib, USUAL_WRAPPING.lanes) == (3, 64 * 1024, 4)


def test_the_tests_themselves_hash_cheaply() -> None:
    assert secret_rules.hash_passphrase("a passphrase").startswith("$argon2id$v=19$m=64,t=1,p=1$")
    assert USUAL_COST.memory_kib == 64
