"""A shop with a handful of setups of every kind, walked by the program of today and written down as files.

Rules: only text and sealed PDFs (a database as the statements that make it), so that a change of one would be
seen; what a later program has to read out of them stands beside them, as it was read on the day.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from base64 import b64decode, b64encode
from pathlib import Path
from typing import Any

from tests.kit import taking_photos
from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PINS
from tests.kit.walk import Walk
from webapp import record
from webapp.composition import SEAL_REASON
from webapp.domain.record.edition import PAGES_EDITION
from webapp.proof.pdf.pdf_seal import seal
from webapp.renderer import RENDERER
from webapp.services.setups import recording, stored_setups, worrying
from webapp.shop_folder import certificates_pem
from webapp.store import Store
from webapp.store.files import HashedFiles

DATABASE = "zerokeep.sql"
CERTIFICATES = "seal-certificates.pem"
SAID = "said.json"
PICTURES = "pictures.json"
KEPT_OF_A_FOLD = ("status", "person", "machine", "slot", "outcome", "values_nm", "probe_in_spindle")


def make(folder: Path, house: House) -> None:
    """Write a whole set of evidence into a new folder.
    Raises FileExistsError: what is there is never made again.
    """
    folder.mkdir(parents=True)
    sealed = [_plain(house, 1), _plain(house, 2), _with_much_on_the_way(house), _in_inches(house)]
    sealed.append(taking_photos.signed_off(house)[0].setup)
    _broken_off(house)
    house.walk("tomas").start().until("touch", "Y")
    _copied_tablet(house)
    for setup in sealed:
        digest, pdf = recording.sealed_pdf(
            *(house.store, setup, record.render, _seal(house)),
            *(house.keyring.head_signer, house.clock(), RENDERER),
        )
        (folder / f"record-{digest[:12]}.pdf").write_bytes(pdf)
    pictures = [path.read_bytes() for path in sorted(house.store.photos.folder.glob("*/*"))]
    kept = json.dumps([b64encode(one).decode() for one in pictures], indent=1)
    (folder / PICTURES).write_text(f"{kept}\n", encoding="utf-8")
    house.store.close()
    (folder / DATABASE).write_text(dumped(house.folder / "zerokeep.db"), encoding="utf-8")
    shutil.copy(house.folder / "keys" / "keys.json", folder / "keys.json")
    (folder / CERTIFICATES).write_bytes(certificates_pem(house.keyring))
    said = {"edition": PAGES_EDITION, "setups": said_of_setups(house.store)}
    (folder / SAID).write_text(json.dumps(said, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def said_of_setups(store: Store) -> dict[str, dict[str, Any]]:
    """What the fold says of each stored setup, in the parts that later programs have to say as well."""
    with store.reading():
        ids = sorted(row["id"] for row in store.setups.setups(newest=1000))
        folds = {setup: stored_setups.fold_stored(store, setup) for setup in ids}
    return {setup: _kept(said) for setup, said in folds.items()}


def _kept(said: dict[str, Any]) -> dict[str, Any]:
    broken_off = said["broken_off"]
    return {
        **{name: said[name] for name in KEPT_OF_A_FOLD},
        "touches": [[one["axis"], one["value_nm"], one["verdict"], one["kept"]] for one in said["touches"]],
        "holds": len(said["holds"]),
        "worries": [one["text"] for one in said["worries"]],
        "answers": [one["answer"] and one["answer"]["decision"] for one in said["questions"]],
        "break_reason": broken_off and broken_off["reason"],
        "problems": sorted(one["code"] for one in said["problems"]),
        # Sets from before there were pictures do not say so.
        **({"photos": [[one["shows"], one["sha256"]] for one in said["photos"]]} if said["photos"] else {}),
    }


def dumped(database: Path) -> str:
    """A database as the statements that make it."""
    with sqlite3.connect(database) as connection:
        return "\n".join(connection.iterdump()) + "\n"


def restored(folder: Path, target: Path) -> Path:
    """Make the database of a set of evidence again; its path."""
    connection = sqlite3.connect(target / "zerokeep.db")
    connection.executescript((folder / DATABASE).read_text(encoding="utf-8"))
    connection.close()
    for pdf in folder.glob("record-*.pdf"):
        HashedFiles(target / "records").write(pdf.read_bytes())
    if (folder / PICTURES).exists():
        for picture in json.loads((folder / PICTURES).read_text(encoding="utf-8")):
            HashedFiles(target / "photos").write(b64decode(picture))
    return target / "zerokeep.db"


def _seal(house: House) -> Any:
    return lambda pdf, at_utc: seal(pdf, house.keyring, at_utc, "Kettle Lane Workshop", SEAL_REASON)


def _plain(house: House, day: int) -> str:
    walk = house.signed_off()
    house.clock.forward(days=day)
    return walk.setup


def _with_much_on_the_way(house: House) -> str:
    """A hold, a worry, a touch that asks, a question with its answer, a step opened again."""
    walk = house.walk().start().until("touch", "Y")
    walk.event("hold.pressed", {}, walk.step["id"])
    walk.event(
        "worry.raised",
        {"worry": "probe_looks_wrong", "text": "A scratch on the stem.", "about": "probe"},
        walk.step["id"],
    )
    walk.touch(walk.values_nm["Y"] + 150_000)
    walk.until("sign")
    return _signed_off(house, walk)


def _in_inches(house: House) -> str:
    walk = Walk(house.device, house.clock, house.sheet("mill-2"), "mara", 77).start()
    walk.until("sign")
    return _signed_off(house, walk)


def _signed_off(house: House, walk: Walk) -> str:
    walk.sign(PINS[walk.person], house.keyring)
    house.accept(walk.parts)
    house.answer_all("Seen and allowed.")
    for one in worrying.open_worries(house.store):
        worrying.close(house.store, one.row.event, "ines", "checked", "Runs true on the ring.", house.clock())
    house.clock.forward(minutes=1)
    house.sign_off(walk.setup)
    return walk.setup


def _broken_off(house: House) -> None:
    walk = house.walk().start().until("touch", "X")
    walk.event("setup.broken_off", {}, walk.step["id"])
    walk.event("break.explained", {"reason": "out_of_time", "text": ""}, walk.step["id"])
    walk.until("sign")
    walk.sign(PINS[walk.person], house.keyring)
    house.accept(walk.parts)


def _copied_tablet(house: House) -> None:
    """Two tablets with one key: the chain splits."""
    other = Device(91_002, "Tablet 2")
    other.enrol(house.store, house.keyring, house.clock, code="2MT6WPH4CN")
    walk = Walk(other, house.clock, house.sheet(), "mara", 88).start().until("slot")
    twin = Walk(other.clone(), house.clock, house.sheet(), "mara", 88)
    house.accept(walk.parts)
    twin.event("hold.pressed", {})
    house.accept(twin.parts)
    house.accept(house.device.sent)
