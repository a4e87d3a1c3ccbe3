"""Checks a bundle that a shop handed out: python3 verify.py BUNDLE.zip [--keys FILE] [--certificates FILE]

It lies in every bundle as verify.py and needs Python 3.11 and the library `cryptography`, nothing of the
program that made the bundle, no network and no server. Give the shop's public keys as you got them from the
shop earlier, by another way than the bundle; without them those in the bundle are used, and then the bundle
is only shown to fit itself.

What it looks at: SHA256SUMS; the signed head (C2SP tlog-checkpoint); each record's seal (CMS, ES256), and
what lies beside it against what is attached; each event's signature (JWS, ES256) and chain; that all of it
stands in the ledger (RFC 9162), and that each record's head grew into the bundle's. It prints no page again
and judges nothing that people wrote. Exit status: 0 all holds, 1 something does not, 2 it cannot be read.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import zipfile
import zlib
from base64 import b64decode, urlsafe_b64decode
from collections.abc import Callable, Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

KEYS, CERTIFICATES = "keys/ledger-keys.txt", "keys/seal-certificates.pem"
EXTRACTED = ("sheet.json", "events.jsonl", "devices.json", "decisions.jsonl", "record.json")
Head = tuple[str, int, bytes]


def need(holds: object, what: str) -> None:
    """Raise ValueError with these words where it does not hold."""
    if not holds:
        raise ValueError(what)


def node(left: bytes, right: bytes) -> bytes:
    """Hash of two neighbours."""
    return sha256(b"\x01" + left + right).digest()


def root_of(leaf: bytes, index: int, size: int, way: list[bytes]) -> bytes:
    """The root that a leaf leads to, by the recursion of section 2.1.3.1 read backwards; `way` is used up."""
    need(0 <= index < size and (way or size == 1), "a place in the ledger does not fit its way")
    if size == 1:
        return leaf
    left, beside = 1 << (size - 1).bit_length() - 1, way.pop()  # the largest power of two below the size
    if index < left:
        return node(root_of(leaf, index, left, way), beside)
    return node(beside, root_of(leaf, index - left, size - left, way))


def leads(text: str | bytes, index: int, way: list[bytes], head: Head) -> bool:
    """Whether an entry stands in the ledger of this head."""
    leaf = sha256(b"\x00" + (text.encode() if isinstance(text, str) else text)).digest()
    return root_of(leaf, index, head[1], way) == head[2] and not way


def check_grown(before: Head, after: Head, proof: list[bytes]) -> None:
    """That the later head's ledger begins with the earlier one's: section 2.1.4.1 read backwards."""

    def roots(first: int, second: int, *, whole: bool) -> tuple[bytes, bytes]:
        if first == second:
            known = before[2] if whole else proof.pop()
            return known, known
        left, beside = 1 << (second - 1).bit_length() - 1, proof.pop()
        if first <= left:
            old, new = roots(first, left, whole=whole)
            return old, node(new, beside)
        old, new = roots(first - left, second - left, whole=False)
        return node(beside, old), node(beside, new)

    grown = 0 < before[1] <= after[1] and roots(before[1], after[1], whole=True) == (before[2], after[2])
    need(grown and not proof, "the head in the record did not grow into the bundle's")


def read_head(note: str, keys: list[str]) -> Head:
    """Name, size and root of a signed head; one of these keys has to have signed it."""
    text, gap, below = note.rpartition("\n\n")
    lines = text.split("\n")
    need(gap and len(lines) == 3 and re.fullmatch("0|[1-9][0-9]{0,17}", lines[1]), "a head cannot be read")
    for key in keys:
        name, key_id, encoded = key.split("+", 2)
        material = b64decode(encoded, validate=True)
        own = sha256(name.encode() + b"\n" + material).digest()[:4]
        need(own.hex() == key_id and material[0] == 1, "a key of the ledger cannot be read")
        for line in below.splitlines():
            dash, signer, encoded = line.split(" ")
            value = b64decode(encoded, validate=True)
            if dash == "\u2014" and signer == name == lines[0] and value[:4] == own:
                Ed25519PublicKey.from_public_bytes(material[1:]).verify(value[4:], (text + "\n").encode())
                return name, int(lines[1]), b64decode(lines[2], validate=True)
    raise ValueError("no known key signed the head")


def parts(der: bytes) -> list[tuple[int, bytes, bytes]]:
    """Tag, whole bytes and content of each element that follows the other."""
    found, at = [], 0
    while at < len(der):
        start, tag, length, at = at, der[at], der[at + 1], at + 2
        if length & 0x80:
            more = length & 0x7F
            length, at = int.from_bytes(der[at : at + more], "big"), at + more
        found.append((tag, der[start : at + length], der[at : at + length]))
        at += length
    return found


def signed_by(key: ec.EllipticCurvePublicKey, signature: bytes, data: bytes) -> bool:
    """Whether this is the key's signature (ECDSA with SHA-256, DER) over the data."""
    try:
        key.verify(signature, data, ec.ECDSA(SHA256()))
    except InvalidSignature:
        return False
    return True


def check_seal(pdf: bytes, certificates: list[x509.Certificate]) -> str:
    """The name on the certificate whose key sealed all of this file."""
    found = re.findall(rb"/ByteRange ?\[ ?(\d+) (\d+) (\d+) (\d+) ?\]", pdf)
    need(len(found) == 1, "the PDF has not one seal")
    begin, first, second, rest = (int(one) for one in found[0])
    gap = pdf[first:second]
    whole = begin == 0 and second + rest == len(pdf) and gap[:1] + gap[-1:] == b"<>"
    need(whole, "the seal does not cover the whole PDF")
    content = parts(parts(parts(bytes.fromhex(gap[1:-1].decode()).rstrip(b"\0"))[0][2])[1][2])[0][2]
    signed = parts(parts(parts(content)[-1][2])[0][2])
    attributes = next(whole for tag, whole, _ in signed if tag == 0xA0)
    digest = sha256(pdf[:first] + pdf[second:]).digest()
    need(b"\x04\x20" + digest in attributes, "the PDF was changed after it was sealed")
    signature = next(content for tag, _, content in reversed(signed) if tag == 0x04)
    for certificate in certificates:
        key = certificate.public_key()
        is_ec = isinstance(key, ec.EllipticCurvePublicKey)
        if is_ec and signed_by(key, signature, b"\x31" + attributes[1:]):  # type: ignore[arg-type]
            return certificate.subject.rfc4514_string()
    raise ValueError("the seal is of none of the known certificates")


def digests_inside(pdf: bytes) -> Iterator[bytes]:
    """SHA-256 of what every stream of the PDF holds, unfolded."""
    for found in re.finditer(rb"stream\r?\n", pdf):
        with suppress(zlib.error):
            yield sha256(zlib.decompressobj().decompress(pdf[found.end() :], 2**28)).digest()


def check_events(events: list[str], devices: list[dict[str, Any]]) -> None:
    """Each event's signature by a listed tablet; each follows the one before it, where both are here."""
    keys = {one["id"]: one["jwk"] for one in devices}
    last: dict[str, tuple[int, set[str], set[str]]] = {}
    for number, text in enumerate(events, 1):
        header, payload, signature = text.split(".")
        event, value = json.loads(urlsafe_b64decode(payload + "==")), urlsafe_b64decode(signature + "==")
        jwk = keys.get(event["device"])
        if jwk is None or len(value) != 64:
            raise ValueError(f"event {number} is of no listed tablet")
        x, y = (int.from_bytes(urlsafe_b64decode(jwk[name] + "=="), "big") for name in "xy")
        raw = int.from_bytes(value[:32], "big"), int.from_bytes(value[32:], "big")
        key = ec.EllipticCurvePublicNumbers(x, y, ec.SECP256R1()).public_key()
        fits = signed_by(key, encode_dss_signature(*raw), f"{header}.{payload}".encode())
        need(fits, f"the signature of event {number} does not fit")
        at, here, before = last.get(event["device"], (0, set(), set()))
        if event["sequence"] != at:
            before, here = (here if event["sequence"] == at + 1 else set()), set()
        need(not before or event["previous"] in before, f"event {number} does not follow the one before it")
        own = sha256(f"{header}.{payload}".encode()).hexdigest()
        last[event["device"]] = event["sequence"], here | {own}, before


def lines_of(data: bytes) -> list[str]:
    """Lines, each ended by a line feed."""
    need(data[-1:] in {b"", b"\n"}, "a last line is cut short")
    return data.decode().split("\n")[:-1]


def check_setup(read: Callable[[str], bytes], names: set[str], folder: str, given: Any, head: Head) -> str:
    """One setup's folder; what was found of it, in words."""
    keys, certificates = given
    events, decisions = (lines_of(read(folder + name)) for name in ("events.jsonl", "decisions.jsonl"))
    check_events(events, json.loads(read(folder + "devices.json")))
    proofs = json.loads(read(folder + "ledger.json"))
    own, ways = read_head(proofs["note"], keys), [bytes.fromhex(one) for one in proofs["hashes"]]
    for kind, texts in (("events", events), ("decisions", decisions)):
        need(len(texts) == len(proofs[kind]), f"not every one of the {kind} has a place")
        for number, (text, place) in enumerate(zip(texts, proofs[kind], strict=True), 1):
            in_it = leads(text, place["index"], [ways[one] for one in place["way"]], own)
            need(in_it, f"number {number} of the {kind} is not in the ledger")
    check_grown(own, head, [bytes.fromhex(one) for one in json.loads(read(folder + "grown.json"))["proof"]])
    words = f"{len(events)} events signed, {len(events) + len(decisions)} entries in the ledger"
    if folder + "record.pdf" not in names:
        return words + ", not sealed"
    pdf = read(folder + "record.pdf")
    sealer = check_seal(pdf, certificates)
    held = set(digests_inside(pdf))
    for name in EXTRACTED:
        need(sha256(read(folder + name)).digest() in held, f"{name} is not what is attached to the PDF")
    entry = read(folder + "entry.json")
    need(
        json.loads(entry)["data"]["sha256"] == sha256(pdf).hexdigest(),
        "the ledger's entry is of another file",
    )
    proof, _, note = read(folder + "entry.tlog-proof").decode().partition("\n\n")
    form, index, *way = proof.split("\n")
    need(
        form == "c2sp.org/tlog-proof@v1" and read_head(note, keys) == head,
        "the file's proof is of another head",
    )
    ways = [b64decode(one) for one in way]
    need(leads(entry, int(index.removeprefix("index ")), ways, head), "the file is not in the ledger")
    return f"{words}, sealed by {sealer}, the file is in the ledger"


def check_changes(data: bytes, head: Head) -> str:
    """That every change stands in the ledger as it is written here."""
    lines = [json.loads(one) for one in lines_of(data)]
    for one in lines:
        in_it = leads(one["text"], one["index"], [bytes.fromhex(beside) for beside in one["way"]], head)
        told, names = json.loads(one["text"]), ("when", "who", "about", "new")
        same = [one[name] for name in names] == [told[name] for name in ("at_utc", "by", "subject", "data")]
        need(in_it and same, f"the change at {one['index']} is not in the ledger")
    return f"{len(lines)} changes in the ledger"


def check(read: Callable[[str], bytes], names: set[str], keys: list[str], certificates: bytes) -> bool:
    """Print a line for each thing that was asked; whether all of it holds."""
    right, heads = True, list[Head]()
    sums = dict(line.split("  ", 1)[::-1] for line in lines_of(read("SHA256SUMS")))
    known = keys or read(KEYS).decode().split()
    given = known, x509.load_pem_x509_certificates(certificates or read(CERTIFICATES))

    def ask(what: str, question: Callable[[], str]) -> None:
        nonlocal right
        try:
            print(f"=  {what}: {question()}")
        except (ValueError, InvalidSignature, LookupError, TypeError, StopIteration) as wrong:
            why = wrong if isinstance(wrong, ValueError) else f"not to be read ({wrong!r:.60})"
            print(f"\u00d7  {what}: {why}")
            right = False

    def files() -> str:
        need(names == {*sums, "SHA256SUMS"}, "files are missing or were added")
        for name, wanted in sums.items():
            need(sha256(read(name)).hexdigest() == wanted, f"{name} was changed")
        return f"{len(sums)} files are whole"

    def signed() -> str:
        heads.append(read_head(read("head.txt").decode(), known))
        return f"{heads[0][1]} entries, signed by {heads[0][0]}"

    ask("files", files)
    ask("head", signed)
    if heads:
        for folder in sorted({name.rpartition("/")[0] + "/" for name in names if name.startswith("setups/")}):
            ask(folder, lambda at=folder: check_setup(read, names, at, given, heads[0]))  # type: ignore[misc]
        ask("changes", lambda: check_changes(read("changes.jsonl"), heads[0]))
    where = "yours" if keys and certificates else "the bundle's own, in part or all: compare them"
    print(f"{'All of it holds' if right else 'SOMETHING DOES NOT HOLD'}. Keys and certificates: {where}.")
    return right


def files_in(folder: Any, name: str) -> Iterator[str]:
    """The names of all files below a folder, of a disk or of a zip."""
    for one in folder.iterdir():
        yield from files_in(one, f"{name}{one.name}/") if one.is_dir() else [name + one.name]


def main() -> int:
    """Read the command line, then the bundle."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("bundle", type=Path, nargs="?", default=Path(__file__).parent)
    asked.add_argument("--keys", type=Path, help="the shop's ledger-keys.txt")
    asked.add_argument("--certificates", type=Path, help="the shop's seal-certificates.pem")
    options = asked.parse_args()
    try:
        keys = options.keys.read_text().split() if options.keys else []
        certificates = options.certificates.read_bytes() if options.certificates else b""
        bundle = zipfile.Path(options.bundle) if options.bundle.is_file() else options.bundle
        names = set(files_in(bundle, ""))
        return 1 - check(lambda name: (bundle / name).read_bytes(), names, keys, certificates)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        print(f"It cannot be read: {error}", file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main())
