"""Checks a bundle that a shop handed out: python3 verify.py BUNDLE.zip [--keys FILE] [--certificates FILE]

It needs Python 3.11 and the library `cryptography`, no network and no server. Get this file and the shop's
public keys by another way than the bundle: whoever altered that altered what lies in it too. It looks at
SHA256SUMS; the signed head (C2SP tlog-checkpoint); each record's seal (CMS, ES256) and what lies beside it
against what is attached so; pictures by their hash; each event's signature (JWS, ES256), chain, setup, sheet;
that all is in the ledger (RFC 9162). It prints no page again, judges no words of people, cannot know what was
left out. Exit: 0 it holds, 1 it does not, 2 not to be read.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import zipfile
import zlib
from base64 import b64decode, urlsafe_b64decode
from collections.abc import Callable
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, utils
from cryptography.hazmat.primitives.hashes import SHA256

EXTRACTED = ("sheet.json", "events.jsonl", "devices.json", "decisions.jsonl", "record.json")
NAMED = rb"/Type /Filespec/F \(([^()]*)\)/UF \(\1\)/EF <</F (\d+) 0 R>>"
SHOWN = re.compile(r'"picture":\{"height":\d+,"sha256":"(\w{64})"').findall  # by steps of a canonical sheet
# What sets a thing, what ends it, and the field of a change's data that names it beside the subject.
THINGS = (
    ("slot.given slot.changed slot.kept_for_shop", "slot.ended slot.released slot.removed", "slot"),
    ("person.authorised", "person.authorisation_withdrawn", "machine"),
    *((kinds, "", "") for kinds in ("person.added person.changed", "procedure.published", "probe.care_set")),
    *((f"{kind}.added {kind}.changed", f"{kind}.retired", "") for kind in ("machine", "fixture", "probe")),
)
OF = {kind: (sets.split(), field) for sets, ends, field in THINGS for kind in f"{sets} {ends}".split()}
Head = tuple[str, int, bytes]
Read = Callable[[str], bytes]


def need(holds: object, what: str) -> None:
    """Raise ValueError with these words where it does not hold."""
    if not holds:
        raise ValueError(what)


def root_of(leaf: bytes, index: int, size: int, way: list[bytes]) -> bytes:
    """The root that a leaf leads to, by the recursion of section 2.1.3.1 read backwards; `way` is used up."""
    need(0 <= index < size and (way or size == 1), "a place in the ledger does not fit its way")
    if size == 1:
        return leaf
    left, beside = 1 << (size - 1).bit_length() - 1, way.pop()  # the largest power of two below the size
    if index < left:
        return sha256(b"\x01" + root_of(leaf, index, left, way) + beside).digest()
    return sha256(b"\x01" + beside + root_of(leaf, index - left, size - left, way)).digest()


def leads(text: str, index: int, way: list[bytes], head: Head) -> bool:
    """Whether an entry stands in the ledger of this head; `way` is used up."""
    return root_of(sha256(b"\x00" + text.encode()).digest(), index, head[1], way) == head[2] and not way


def check_grown(before: Head, after: Head, proof: list[bytes]) -> None:
    """That the later head's ledger begins with the earlier one's: section 2.1.4.1 read backwards."""

    def roots(first: int, second: int, *, whole: bool) -> tuple[bytes, bytes]:
        if first == second:
            known = before[2] if whole else proof.pop()
            return known, known
        left, beside = 1 << (second - 1).bit_length() - 1, proof.pop()
        if first <= left:
            old, new = roots(first, left, whole=whole)
            return old, sha256(b"\x01" + new + beside).digest()
        old, new = roots(first - left, second - left, whole=False)
        return sha256(b"\x01" + beside + old).digest(), sha256(b"\x01" + beside + new).digest()

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
                public = ed25519.Ed25519PublicKey.from_public_bytes(material[1:])
                public.verify(value[4:], (text + "\n").encode())
                return name, int(lines[1]), b64decode(lines[2], validate=True)
    raise ValueError("no known key signed the head")


def parts(der: bytes) -> list[tuple[int, bytes, bytes]]:
    """Tag, whole bytes and content of each element that follows the other."""
    found, at = [], 0
    while at < len(der):
        start, tag, length, at = at, der[at], der[at + 1], at + 2
        if more := length & 0x80 and length & 0x7F:
            length, at = int.from_bytes(der[at : at + more], "big"), at + more
        found.append((tag, der[start : at + length], der[at : at + length]))
        at += length
    return found


def signed_by(key: Any, signature: bytes, data: bytes) -> bool:
    """Whether this is the key's signature (ECDSA with SHA-256, DER) over the data."""
    with suppress(InvalidSignature, TypeError):
        return key.verify(signature, data, ec.ECDSA(SHA256())) is None
    return False


def check_seal(pdf: bytes, certificates: list[x509.Certificate]) -> str:
    """The name on the certificate whose key sealed all of this file."""
    found = re.findall(rb"/ByteRange ?\[ ?(\d+) (\d+) (\d+) (\d+) ?\]", pdf)
    need(len(found) == 1, "the PDF has not one seal")
    begin, first, second, rest = (int(one) for one in found[0])
    gap = pdf[first:second]
    need(begin == 0 and second + rest == len(pdf) and gap[:1] + gap[-1:] == b"<>", "not all is sealed")
    content = parts(parts(parts(bytes.fromhex(gap[1:-1].decode()).rstrip(b"\0"))[0][2])[1][2])[0][2]
    signed = parts(parts(parts(content)[-1][2])[0][2])
    attributes = next(whole for tag, whole, _ in signed if tag == 0xA0)
    digest = sha256(pdf[:first] + pdf[second:]).digest()
    need(b"\x04\x20" + digest in attributes, "the sealed PDF was changed")
    signature = next(content for tag, _, content in reversed(signed) if tag == 0x04)
    own = [one for one in certificates if signed_by(one.public_key(), signature, b"\x31" + attributes[1:])]
    need(own, "the seal is of none of the known certificates")
    return own[0].subject.rfc4514_string()


def attached(pdf: bytes) -> dict[str, bytes]:
    """SHA-256 of each attached file by its name. A PDF of another program may be laid out otherwise."""
    digests, names = dict[bytes, bytes](), dict[bytes, bytes]()
    for found in re.finditer(rb"\n(\d+) 0 obj\r?\n<<.*>>\r?\nstream\r?\n", pdf):
        with suppress(zlib.error):
            data = zlib.decompressobj().decompress(pdf[found.end() :], 2**28)
            digests[found[1]] = sha256(data).digest()
            names |= re.findall(NAMED, data) if b"/ObjStm" in found[0] else ()
    return {name.decode(): digests[number] for name, number in names.items()}


def check_events(events: list[str], devices: list[dict[str, Any]], belongs: tuple[str, str]) -> None:
    """Each event is of this setup and sheet, signed by a listed tablet, and follows the one before it."""
    keys = {one["id"]: one["jwk"] for one in devices}
    for own, jwk in keys.items():
        plain = f'{{"crv":"P-256","kty":"EC","x":"{jwk["x"]}","y":"{jwk["y"]}"}}'  # RFC 7638
        need(sha256(plain.encode()).digest() == urlsafe_b64decode(own + "="), "a tablet has another's key")
    last: dict[str, tuple[int, set[str], set[str]]] = {}
    for number, text in enumerate(events, 1):
        (_, payload, signature), signed = text.split("."), text.rpartition(".")[0].encode()
        event, value = json.loads(urlsafe_b64decode(payload + "==")), urlsafe_b64decode(signature + "==")
        need(event["device"] in keys and len(value) == 64, f"event {number} is of no listed tablet")
        need((event["setup"], event["sheet"]) == belongs, f"event {number} is of another setup or sheet")
        x, y = (int.from_bytes(urlsafe_b64decode(keys[event["device"]][name] + "=="), "big") for name in "xy")
        raw = int.from_bytes(value[:32], "big"), int.from_bytes(value[32:], "big")
        key = ec.EllipticCurvePublicNumbers(x, y, ec.SECP256R1()).public_key()
        need(signed_by(key, utils.encode_dss_signature(*raw), signed), f"event {number} is not signed so")
        at, here, before = last.get(event["device"], (0, set(), set()))
        if event["sequence"] != at:
            before, here = (here if event["sequence"] == at + 1 else set()), set()
        need(not before or event["previous"] in before, f"event {number} does not follow the one before it")
        last[event["device"]] = event["sequence"], here | {sha256(signed).hexdigest()}, before


def lines_of(data: bytes) -> list[str]:
    """Lines, each ended by a line feed."""
    need(data[-1:] in {b"", b"\n"}, "a last line is cut short")
    return data.decode().split("\n")[:-1]


def check_setup(read: Read, names: set[str], folder: str, given: Any, head: Head) -> str:
    """One setup's folder; what was found of it, in words."""
    (keys, certificates), setup = given, folder.split("/")[1]
    events, decisions = (lines_of(read(folder + name)) for name in ("events.jsonl", "decisions.jsonl"))
    sheet = sha256(read(folder + "sheet.json")).hexdigest()
    check_events(events, json.loads(read(folder + "devices.json")), (setup, sheet))
    told = [json.loads(one) for one in (*decisions, read(folder + "record.json").decode())]
    need(events and all(one["setup"] == setup for one in told), "something here is of another setup")
    proofs = json.loads(read(folder + "ledger.json"))
    own, ways = read_head(proofs["note"], keys), [bytes.fromhex(one) for one in proofs["hashes"]]
    for kind, texts in (("events", events), ("decisions", decisions)):
        need(len(texts) == len(proofs[kind]), f"not every one of the {kind} has a place")
        for number, (text, place) in enumerate(zip(texts, proofs[kind], strict=True), 1):
            in_it = leads(text, place["index"], [ways[one] for one in place["way"]], own)
            need(in_it, f"number {number} of the {kind} is not in the ledger")
    check_grown(own, head, [bytes.fromhex(one) for one in json.loads(read(folder + "grown.json"))["proof"]])
    words = f"{len(events)} events signed, {len(events) + len(decisions)} entries in the ledger"
    sent = {json.loads(urlsafe_b64decode(one.split(".")[1] + "=="))["data"].get("sha256") for one in events}
    new = [json.loads(one)["new"] for at in names & {folder + "photos.jsonl"} for one in lines_of(read(at))]
    files = {sha256(read(one)).hexdigest() for one in names if one.startswith(folder + "photo-")}
    need(files == {one["sha256"] for one in new if one["sent_sha256"] in sent}, "a picture is another one")
    if folder + "record.pdf" not in names:
        signed_off = any(one.get("type") == "setup.signed_off" for one in told)
        need(not signed_off, "it is signed off, and its sealed record is not here: ask the shop for it")
        return words + ", not sealed: what record.json says, and names in devices.json, is nobody's word"
    pdf, entry = read(folder + "record.pdf"), read(folder + "entry.json").decode()
    sealer, held, said = check_seal(pdf, certificates), attached(pdf), json.loads(entry)
    for name in {*EXTRACTED, *held}:
        need(sha256(read(folder + name)).digest() == held[name], f"{name} is not what is attached to the PDF")
    about = [said["type"], said["subject"], said["setup"], said["data"]["sha256"]]
    need(about == ["record.sealed", setup, setup, sha256(pdf).hexdigest()], "its entry is of another file")
    proof, _, note = read(folder + "entry.tlog-proof").decode().partition("\n\n")
    form, index, *way = proof.replace("index ", "").split("\n")
    need(form == "c2sp.org/tlog-proof@v1" and read_head(note, keys) == head, "its proof is of another head")
    need(leads(entry, int(index), [b64decode(one) for one in way], head), "the file is not in the ledger")
    return f"{words}, sealed by {sealer}, the file is in the ledger"


def check_changes(data: bytes, head: Head) -> str:
    """Each change, and the earlier one that `old` is from, stands in the ledger; all told of it is there."""
    lines = [json.loads(one) for one in lines_of(data)]
    for one in lines:
        entries = [one, one["earlier"]] if one["earlier"] else [one]
        for two in entries:
            in_it = leads(two["text"], two["index"], [bytes.fromhex(way) for way in two["way"]], head)
            need(in_it, f"the change at {two['index']} is not in the ledger")
        told, *before = (json.loads(two["text"]) for two in entries)
        new = told["data"]
        old = before[0]["data"] if before else new.get("before", new.get("old"))
        same = {"when": told["at_utc"], "who": told["by"], "what": told["type"], "about": told["subject"]}
        same |= {"setup": told["setup"], "new": new, "old": old, "why": new.get("reason") or new.get("note")}
        same |= {name: one[name] for name in ("index", "text", "way", "earlier")}
        sets, field = OF.get(told["type"], ([], ""))
        named = [(two["subject"], two["data"].get(field)) for two in (told, *before)]
        right = same == one and named[0] == named[-1] and all(two["type"] in sets for two in before)
        need(right and entries[-1]["index"] <= one["index"], f"change {one['index']} is told otherwise")
    return f"{len(lines)} changes in the ledger"


def check(read: Read, names: set[str], keys: list[str] | None, certificates: bytes | None) -> bool:
    """Print a line for each thing that was asked; whether all of it holds."""
    wrong = list[str]()
    sums = dict(line.split("  ", 1)[::-1] for line in lines_of(read("SHA256SUMS")))
    known = read("keys/ledger-keys.txt").decode().split() if keys is None else keys
    pem = read("keys/seal-certificates.pem") if certificates is None else certificates
    given = known, x509.load_pem_x509_certificates(pem)

    def ask(what: str, question: Callable[[], str]) -> None:
        try:
            print(f"=  {what}: {question()}")
        except Exception as error:  # noqa: BLE001 - whatever stops it in a stranger's file, it does not hold
            why = error if isinstance(error, ValueError) else f"not to be read ({error!r:.60})"
            print(f"\u00d7  {what}: {why}")
            wrong.append(what)

    def files() -> str:
        shown = {one for at in names if at[-10:] == "sheet.json" for one in SHOWN(read(at).decode())}
        need(names == {*sums, "SHA256SUMS"}, "files are missing or were added")
        for name, wanted in sums.items():
            need(sha256(read(name)).hexdigest() == wanted, f"{name} was changed")
            need("pictures/" not in name or (wanted in name and wanted in shown), "another picture")
        return f"{len(sums)} files are whole, {len(shown & {*sums.values()})} of {len(shown)} step pictures"

    head: Callable[[], Head] = lambda: read_head(read("head.txt").decode(), known)  # noqa: E731 - one line
    ask("files", files)
    ask("head", lambda: "{1} entries, signed by {0}".format(*head()))
    for folder in sorted({name.rpartition("/")[0] + "/" for name in names if name.startswith("setups/")}):
        ask(folder, lambda at=folder: check_setup(read, names, at, given, head()))  # type: ignore[misc]
    told = ["changes.jsonl", *sorted(name for name in names if name.endswith("/photos.jsonl"))]
    ask("changes", lambda: check_changes(b"".join(map(read, told)), head()))
    where = "yours" if None not in (keys, certificates) else "the bundle's own, in part or all: compare them"
    print(f"{'SOMETHING DOES NOT HOLD' if wrong else 'All of it holds'}. Keys and certificates: {where}.")
    return not wrong


def main() -> int:
    """Read the command line, then the bundle."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("bundle", type=Path, nargs="?", default=Path(__file__).parent)
    asked.add_argument("--keys", type=Path, help="the shop's ledger-keys.txt")
    asked.add_argument("--certificates", type=Path, help="the shop's seal-certificates.pem")
    options = asked.parse_args()
    try:
        keys = options.keys.read_text().split() if options.keys else None
        certificates = options.certificates.read_bytes() if options.certificates else None
        if (at := options.bundle).is_file():
            with zipfile.ZipFile(at) as archive:
                return 1 - check(archive.read, set(archive.namelist()), keys, certificates)
        names = {one.relative_to(at).as_posix() for one in at.rglob("*") if one.is_file()}
        return 1 - check(lambda name: (at / name).read_bytes(), names, keys, certificates)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        print(f"It cannot be read: {error}", file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main())
