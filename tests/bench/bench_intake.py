"""How fast events are taken in, beside the bare verification of as many ECDSA P-256 signatures in the same
run.

Start it by hand: python tests/bench/bench_intake.py [batches]. It prints rates and their ratio and asserts
nothing: times of one run on one machine compare only with each other; where other programs run beside it, the
best batch of each says more than the sum. PINs are left out: argon2id is slow on purpose.
"""

import sys
import tempfile
import time
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.kit.house import House
from webapp.proof.encoding import from_base64url

BATCH = 500


def batches_of_events(house: House, count: int) -> list[list[dict[str, object]]]:
    """Setups one after the other, cut into uploads as a tablet would send them after a long time offline."""
    while len(house.device.sent) < count * BATCH:
        house.walk().through()
    sent = house.device.sent
    return [sent[start : start + BATCH] for start in range(0, count * BATCH, BATCH)]


def bare_verifications(house: House, parts: list[dict[str, object]]) -> float:
    """Seconds for the verification alone, everything decoded beforehand."""
    prepared = []
    for part in parts:
        signed, _, signature = str(part["jws"]).rpartition(".")
        raw = from_base64url(signature)
        r, s = int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big")
        prepared.append((encode_dss_signature(r, s), signed.encode()))
    key, algorithm = house.device.key.public_key(), ec.ECDSA(SHA256())
    start = time.perf_counter()
    for signature, signed_bytes in prepared:
        key.verify(signature, signed_bytes, algorithm)
    return time.perf_counter() - start


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        house = House(Path(folder))
        batches = batches_of_events(house, count)
        bare, taken = [], []
        for parts in batches:
            bare.append(bare_verifications(house, parts))
            start = time.perf_counter()
            receipts = house.accept(parts)
            taken.append(time.perf_counter() - start)
            wrong = [
                receipt for receipt in receipts if receipt["outcome"] != "accepted" or receipt["problems"]
            ]
            if wrong:
                raise SystemExit(f"not all well: {wrong[0]}")
    for name, pick in (("all batches", sum), ("best batch", lambda times: min(times) * len(times))):
        whole_bare, whole_taken, events = pick(bare), pick(taken), len(bare) * BATCH
        print(
            f"{name:12} bare verification {events / whole_bare:7.0f} a second, "
            f"intake {events / whole_taken:7.0f} a second, ratio {whole_bare / whole_taken:.2f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
