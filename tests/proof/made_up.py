"""Fixed keys and chance in place of the machine's, so that every run of the tests sees the same bytes."""

from collections.abc import Callable
from hashlib import sha256
from itertools import count

from cryptography.hazmat.primitives.asymmetric import ec

from webapp.proof.keys.key_file import WrappingCost

PASSPHRASE = "four plain words here"
CHEAP = WrappingCost(passes=1, memory_kib=8, lanes=1)


def numbered_keys(start: int = 7001) -> Callable[[], ec.EllipticCurvePrivateKey]:
    """Private keys made of the numbers from `start` on."""
    numbers = count(start)
    return lambda: ec.derive_private_key(next(numbers), ec.SECP256R1())


def counted_bytes() -> Callable[[int], bytes]:
    """Chance that is none: hashes of 0, 1, 2 and so on, cut to the length asked for (up to 32)."""
    numbers = count()
    return lambda length: sha256(b"%d" % next(numbers)).digest()[:length]
