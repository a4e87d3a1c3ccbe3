"""Salts, drawn where they are used, as Argon2 draws its own: nobody chooses one, and none is ever shown."""

import os
from collections.abc import Callable

SALT_BYTES = 32


def new_salt(random_bytes: Callable[[int], bytes] = os.urandom) -> str:
    """The salt of one thing, 64 hex digits."""
    return random_bytes(SALT_BYTES).hex()
