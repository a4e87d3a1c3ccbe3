"""A bundle for somebody outside: records, events, changes, proofs, public keys and what checks them, in one
ZIP file.

Rules:
- that it was handed out, by whom and what of, stands on the ledger before anything else, and so in the
  bundle; where no head may be signed, nothing is handed out and nothing noted;
- one head is signed for it; every proof leads to that head, or from a record's own head into it, and whatever
  came behind it while the bundle is made (an upload, a seal) is left to the next one;
- a setup that is sealed is given as it was sealed: its PDF, what is attached to it, and the ledger's entry
  of the PDF with its proof (C2SP tlog-proof); one that is not sealed as it stands, and it says so;
- changes come with old, new, who, when and why; old is what the change itself says was there before, else
  what the last change of the same thing (THINGS: a slot, a right for a machine) set, given with its proof;
  a change that replaces nothing has none;
- pictures lie beside their setup under the hash of what is kept, each with the ledger's entry that names
  both hashes and its proof; one that has not come yet is named by its event alone;
- what steps showed lies once for all setups, under the hash by which their sheets name it; a file that is
  gone or another is left out, and what checks the bundle says how many are there;
- a record that is disposed of while the bundle is made is left out from there on, with its pictures: files
  are read outside any view of the database, and one that is gone is looked up once more;
- pieces are made one after the other, none larger than one record, whatever the bundle holds.
"""

from __future__ import annotations

import json
import zipfile
from base64 import b64encode
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import IO, TYPE_CHECKING, Any, TypedDict

from webapp.domain.evidence import tree
from webapp.domain.evidence.checkpoint import read_checkpoint
from webapp.domain.evidence.consistency import consistency_proof
from webapp.domain.plain.json_strict import canonical_bytes, canonical_text
from webapp.domain.record.bundle import RecordBundle, from_files
from webapp.domain.record.ledger_head import LedgerHead
from webapp.domain.record.ledger_proofs import LEDGER_FILE, proofs_of
from webapp.services.decisions.adding import ADDED
from webapp.services.errors import NoSuchSetup, NothingToHandOut
from webapp.services.evidence import photo_entries
from webapp.services.evidence.entries import SEALED
from webapp.services.evidence.ledger import change
from webapp.services.evidence.signed_heads import sign_head
from webapp.services.evidence.tombstones import disposed, tombstone
from webapp.services.setups import recording
from webapp.services.times import utc_text
from webapp.words import say

if TYPE_CHECKING:
    from webapp.proof.ledger.signed_note import NoteSigner
    from webapp.store import Store
    from webapp.store.files import HashedFiles
    from webapp.store.rows import ChangeRow

HANDED_OUT = "evidence.handed_out"
A_STRETCH = 256
CHECKER, README, SUMS, HEAD, CHANGES = "verify.py", "README.txt", "SHA256SUMS", "head.txt", "changes.jsonl"
PHOTOS, SHEET, STEP_PICTURES = "photos.jsonl", "sheet.json", "pictures"
NEVER_ENDS = "9999-12-31T23:59:59.999Z"
# Changes that set a thing, those that end it, and the field of their data that names it beside the subject.
# What checks a bundle has the same list of its own.
THINGS = (
    ("slot.given slot.changed slot.kept_for_shop", "slot.ended slot.released slot.removed", "slot"),
    ("person.authorised", "person.authorisation_withdrawn", "machine"),
    ("person.added person.changed", "", ""),
    ("procedure.published", "", ""),
    ("probe.care_set", "", ""),
    ("machine.added machine.changed", "machine.retired", ""),
    ("fixture.added fixture.changed", "fixture.retired", ""),
    ("probe.added probe.changed", "probe.retired", ""),
)
THING_OF = {
    kind: number for number, (sets, ends, _) in enumerate(THINGS) for kind in f"{sets} {ends}".split()
}
WHEN = (1980, 1, 1, 0, 0, 0)  # a bundle of one state is the same bytes whenever it is made


@dataclass(frozen=True, slots=True)
class Asked:
    """What to hand out: one setup, or all that was started, and changed, from `since_utc` up to, not
    including, `until_utc` (texts of utc_text).
    """

    setup: str | None = None
    since_utc: str = ""
    until_utc: str = NEVER_ENDS


@dataclass(frozen=True, slots=True)
class Public:
    """What everybody may have: keys and certificates as their files' text, and the program that checks a
    bundle.
    """

    head_keys: bytes
    certificates: bytes
    checker: bytes


def hand_out(
    store: Store,
    signer: NoteSigner,
    asked: Asked,
    by: str,
    public: Public,
    renderer: Mapping[str, str],
    now: datetime,
    file: IO[bytes],
) -> int:
    """Write the bundle into a file that is open for writing; how many setups it holds.

    Raises NoSuchSetup, RecordDisposed, NothingToHandOut, LedgerWentBack, OSError.
    """
    setups = _setups(store, asked)
    sign_head(store, signer)  # refuses before anything is noted
    told = {"setup": asked.setup, "since_utc": asked.since_utc or None, "until_utc": _until(asked)}
    with store.writing():
        change(store, HANDED_OUT, by, "ledger", None, {**told, "setups": len(setups)}, now)
    note = sign_head(store, signer)
    made = _Making(store, note, now, renderer, signer.verifier.text)
    sums: list[str] = []
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as bundle:
        for name, pieces in _files(made, asked, setups, public):
            digest = sha256()
            with bundle.open(zipfile.ZipInfo(name, WHEN), "w", force_zip64=True) as one:
                for piece in pieces:
                    digest.update(piece)
                    one.write(piece)
            sums.append(f"{digest.hexdigest()}  {name}\n")
        bundle.writestr(zipfile.ZipInfo(SUMS, WHEN), "".join(sums))
    return len(setups)


class Placed(TypedDict):
    """An entry's text, its place, counted from 0, and its way (hex) to the head."""

    index: int
    text: str
    way: list[str]


class _Making:
    """One bundle in the making: the head that everything leads to."""

    def __init__(self, store: Store, note: str, now: datetime, renderer: Mapping[str, str], key: str) -> None:
        self.store, self.note, self.now, self.renderer, self.key = store, note, now, renderer, key
        found = read_checkpoint(note.rpartition("\n\n")[0] + "\n")
        self.head: LedgerHead = {"size": found.size, "root": found.root}
        self.shown: dict[str, None] = {}  # what the sheets name, in the order of their setups

    def way(self, position: int) -> list[bytes]:
        """From an entry up to the head, inside a transaction."""
        return list(tree.inclusion_proof(position, self.head["size"], self.store.ledger.hash_at))


def _setups(store: Store, asked: Asked) -> list[str]:
    with store.reading():
        if asked.setup is not None:
            if store.setups.setup(asked.setup) is None:
                raise NoSuchSetup(setup=asked.setup)
            if (record := store.records.record(asked.setup)) is not None:
                recording.must_be_kept(store, record)
            return [asked.setup]
        started = store.setups.started_between(asked.since_utc, asked.until_utc)
        # Of a record that was disposed of the tombstone is handed out, among the changes.
        gone = {row["subject"] for row in disposed(store).values()}
        found = [setup for setup in started if setup not in gone]
    if not asked.since_utc < asked.until_utc:
        raise NothingToHandOut
    return found


def _until(asked: Asked) -> str | None:
    return None if asked.until_utc == NEVER_ENDS else asked.until_utc


def _files(
    made: _Making, asked: Asked, setups: Iterable[str], public: Public
) -> Iterator[tuple[str, Iterable[bytes]]]:
    yield README, [say("bundle.readme", {"at": utc_text(made.now), "entries": made.head["size"]}).encode()]
    yield CHECKER, [public.checker]
    yield "keys/ledger-keys.txt", [public.head_keys]
    yield "keys/seal-certificates.pem", [public.certificates]
    yield HEAD, [made.note.encode()]
    for setup in setups:
        files = _of_setup(made, setup)
        made.shown |= dict.fromkeys(_shown_by(files.get(SHEET)))
        for name, data in files.items():
            yield f"setups/{setup}/{name}", [data]
        for name, data in _photos(made, setup) if files else ():
            yield f"setups/{setup}/{name}", [data]
    for digest in made.shown:
        if (picture := made.store.step_pictures.whole(digest)) is not None:
            yield f"{STEP_PICTURES}/{digest}.jpg", [picture]
    yield CHANGES, _changes(made, asked)


def _shown_by(sheet: bytes | None) -> Iterator[str]:
    """The files of the pictures that the steps of a sheet show."""
    for stage in json.loads(sheet)["procedure"]["stages"] if sheet else ():
        yield from (step["picture"]["sha256"] for step in stage["steps"] if step.get("picture"))


def _of_setup(made: _Making, setup: str) -> dict[str, bytes]:
    """Its files but for its pictures; none of one that is disposed of."""
    store = made.store
    with store.reading():
        entry, sealed = _sealed(made, setup), store.records.record(setup)
        if entry is None or sealed is None:
            found = recording.bundle(store, setup, made.now, made.renderer)
            files = _proven(made, setup, _as_of(made, setup, found)).files()
            return {**files, "grown.json": _grown(made, made.head["size"])}
    pdf = _still_kept(store, store.records.files, sealed["sha256"], setup)
    if pdf is None:
        return {}
    with store.reading():
        return {**_of_record(made, setup, pdf), **_entry(made, entry)}


def _of_record(made: _Making, setup: str, pdf: bytes) -> dict[str, bytes]:
    """A sealed record, what is attached to it, and how its head grew into the bundle's."""
    # What reads a PDF takes long to load, and whoever starts a server reads none.
    from webapp.proof.pdf.pdf_attachments import attachments  # noqa: PLC0415
    from webapp.proof.pdf.pdf_layout import base_length  # noqa: PLC0415

    files = attachments(pdf[: base_length(pdf)])
    record = from_files(files)
    if record.ledger is None or record.record["ledger"] is None:
        files = {**files, LEDGER_FILE: _proven(made, setup, record).files()[LEDGER_FILE]}
        grown = _grown(made, made.head["size"])
    else:
        grown = _grown(made, record.record["ledger"]["size"])
    return {"record.pdf": pdf, **files, "grown.json": grown}


def _still_kept(store: Store, files: HashedFiles, digest: str, setup: str) -> bytes | None:
    """A file of a setup; None where its record was disposed of. Outside any transaction, so that a tombstone
    that was written a moment ago is seen. Raises DatabaseDamaged.
    """
    if _is_disposed(store, setup):
        return None
    data = files.whole(digest)
    return files.read(digest) if data is None and not _is_disposed(store, setup) else data


def _is_disposed(store: Store, setup: str) -> bool:
    with store.reading():
        sealed = store.records.record(setup)
        return sealed is not None and tombstone(store, sealed) is not None


def _photos(made: _Making, setup: str) -> Iterator[tuple[str, bytes]]:
    """The setup's pictures in front of the head, one at a time, and then a line about each that is here."""
    store, here = made.store, dict[str, bool]()
    with store.reading():
        kept = photo_entries.of_setup(store, setup)
        kept = [one for one in kept if one.entry["position"] < made.head["size"]]
        lines = [(one.sha256, _line(made, one.entry, None)) for one in kept]
    for digest in dict.fromkeys(one.sha256 for one in kept):
        data = _still_kept(store, store.photos, digest, setup)
        here[digest] = data is not None
        if data is not None:
            yield f"photo-{digest}.jpg", data
    if any(here.values()):
        yield PHOTOS, b"".join(line for digest, line in lines if here[digest])


def _as_of(made: _Making, setup: str, found: RecordBundle) -> RecordBundle:
    """The same without what came behind the bundle's head."""
    size, store = made.head["size"], made.store
    events = {row["jws"] for row in store.events.events_of(setup) if row["position"] < size}
    decisions = {row["text"] for row in store.ledger.changes_of_setup(setup) if row["position"] < size}
    return replace(
        found,
        events=tuple(one for one in found.events if one in events),
        decisions=tuple(one for one in found.decisions if one in decisions),
        record={**found.record, "ledger": made.head},
    )


def _proven(made: _Making, setup: str, found: RecordBundle) -> RecordBundle:
    """The same with its places under the bundle's head: entries are found by their texts."""
    store = made.store
    events = {row["jws"]: row["position"] for row in store.events.events_of(setup)}
    decisions = {row["text"]: row["position"] for row in store.ledger.changes_of_setup(setup)}
    proofs = proofs_of(
        [events[one] for one in found.events],
        [decisions[one] for one in found.decisions],
        made.head["size"],
        store.ledger.hash_at,
    )
    proofs["note"], proofs["key"] = made.note, made.key
    return replace(found, ledger=proofs)


def _grown(made: _Making, size: int) -> bytes:
    proof = consistency_proof(size, made.head["size"], made.store.ledger.hash_at)
    return canonical_bytes({"size": size, "proof": [one.hex() for one in proof]})


def _sealed(made: _Making, setup: str) -> ChangeRow | None:
    """The ledger's entry of the setup's sealed file, None where there is none in front of the head."""
    rows = (row for row in made.store.ledger.changes_of_setup(setup) if row["position"] < made.head["size"])
    return next((row for row in rows if row["type"] == SEALED), None)


def _entry(made: _Making, row: ChangeRow) -> dict[str, bytes]:
    """The entry and its proof as C2SP tlog-proof has it."""
    way = "".join(f"{b64encode(one).decode()}\n" for one in made.way(row["position"]))
    proof = f"c2sp.org/tlog-proof@v1\nindex {row['position']}\n{way}\n{made.note}"
    return {"entry.json": row["text"].encode(), "entry.tlog-proof": proof.encode()}


def _changes(made: _Making, asked: Asked) -> Iterator[bytes]:
    if asked.setup is not None:
        with made.store.reading():
            rows = made.store.ledger.changes_of_setup(asked.setup)
            rows += made.store.ledger.changes_about_record(ADDED, asked.setup)
            lines = [_line(made, row, None) for row in rows if row["position"] < made.head["size"]]
        yield b"".join(lines)
        return
    before: dict[tuple[int, str, str], ChangeRow | None] = {}
    for first in range(0, made.head["size"], A_STRETCH):
        with made.store.reading():
            rows = made.store.ledger.changes_between(first, min(first + A_STRETCH, made.head["size"]))
            lines = []
            for row in rows:
                thing = _thing(row)
                if asked.since_utc <= row["at_utc"] < asked.until_utc:
                    lines.append(_line(made, row, before.get(thing) if thing else None))
                if thing:
                    before[thing] = row if row["type"] in THINGS[thing[0]][0].split() else None
        yield b"".join(lines)


def _thing(row: ChangeRow) -> tuple[int, str, str] | None:
    """What the change sets or ends, None where it is neither."""
    number = THING_OF.get(row["type"])
    if number is None:
        return None
    field = THINGS[number][2]
    return number, row["subject"], str(json.loads(row["text"])["data"].get(field)) if field else ""


def _line(made: _Making, row: ChangeRow, before: ChangeRow | None) -> bytes:
    """One change as a line of JSON. Inside a transaction."""
    data = json.loads(row["text"])["data"]
    said: dict[str, Any] = data if isinstance(data, dict) else {}
    old, earlier = said.get("before", said.get("old")), None
    if old is None and before is not None:
        old, earlier = json.loads(before["text"])["data"], _placed(made, before)
    return (
        canonical_text(
            {
                "when": row["at_utc"],
                "who": row["by"],
                "what": row["type"],
                "about": row["subject"],
                "setup": row["setup"],
                "old": old,
                "new": data,
                "why": said.get("reason") or said.get("note"),
                "earlier": earlier,
                **_placed(made, row),
            }
        ).encode()
        + b"\n"
    )


def _placed(made: _Making, row: ChangeRow) -> Placed:
    """An entry's text, its place and the way from there to the head."""
    way = [one.hex() for one in made.way(row["position"])]
    return {"index": row["position"], "text": row["text"], "way": way}
