"""How fast events are taken in, beside the bare verification of as many ECDSA P-256 signatures in the same
run, on as many threads: two, each with half of an upload, as `webapp.services.intake.intake` reads them.

Start it by hand: python -m tests.bench.bench_intake [batches]. It prints rates and their ratio and asserts
nothing: times of one run on one machine compare only with each other; where other programs run beside it, the
best batch of each, and the processors' seconds, say more than the sum. PINs are left out: argon2id is slow on
purpose.
"""

import sys
import tempfile
import time
from base64 import urlsafe_b64decode
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.kit.house import House

BATCH = 500
THREADS = 2
Receipt = dict[str, Any]


class Taken(NamedTuple):
    """Seconds by the clock, and of the processors."""

    clock: float
    processors: float


def from_base64url(text: str) -> bytes:
    """As JOSE writes bytes."""
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def batches_of_events(house: House, count: int) -> list[list[dict[str, object]]]:
    """Setups one after the other, cut into uploads as a tablet would send them after a long time offline."""
    while len(house.device.sent) < count * BATCH:
        house.walk().through()
    sent = house.device.sent
    return [sent[start : start + BATCH] for start in range(0, count * BATCH, BATCH)]


def bare_verifications(house: House, parts: list[dict[str, object]]) -> Taken:
    """What the verification alone takes, everything decoded beforehand."""
    prepared: list[tuple[bytes, bytes]] = []
    for part in parts:
        signed, _, signature = str(part["jws"]).rpartition(".")
        raw = from_base64url(signature)
        r, s = int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big")
        prepared.append((encode_dss_signature(r, s), signed.encode()))
    key, algorithm = house.device.key.public_key(), ec.ECDSA(SHA256())

    def verify(some: list[tuple[bytes, bytes]]) -> None:
        for signature, signed_bytes in some:
            key.verify(signature, signed_bytes, algorithm)

    def verify_all() -> None:
        with ThreadPoolExecutor(THREADS - 1) as others:
            waiting = [others.submit(verify, prepared[place::THREADS]) for place in range(1, THREADS)]
            verify(prepared[::THREADS])
            for one in waiting:
                one.result()

    return taken_by(verify_all)


def taken_by(work: Callable[[], object]) -> Taken:
    """What it took by the clock, and of the processors."""
    start, used = time.perf_counter(), time.process_time()
    work()
    return Taken(time.perf_counter() - start, time.process_time() - used)


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        house = House(Path(folder))
        bare, intake = [], []
        for parts in batches_of_events(house, count):
            bare.append(bare_verifications(house, parts))
            receipts: list[Receipt] = []
            intake.append(
                taken_by(lambda parts=parts, receipts=receipts: receipts.extend(house.accept(parts)))
            )
            wrong = [one for one in receipts if one["outcome"] != "accepted" or one["problems"]]
            if wrong:
                raise SystemExit(f"not all well: {wrong[0]}")
    events = count * BATCH
    for name, pick in (("all batches", sum), ("best batch", lambda times: min(times) * len(times))):
        for place, how in enumerate((f"by the clock, {THREADS} threads each", "of the processors")):
            checked, kept = (pick([one[place] for one in all_]) for all_ in (bare, intake))
            print(
                f"{name:12} {how:28} bare verification {events / checked:7.0f} a second, "
                f"intake {events / kept:7.0f} a second, ratio {checked / kept:.2f}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
