"""Bundles for somebody outside: what is in them, and that the program in them finds whatever was changed."""

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.pictures import SIZE, jpeg
from tests.kit.taking_photos import finish, sent, taken, to_photo
from tests.proof.pdfs import pdf_of
from tests.services.test_procedures import publish
from webapp.domain.record.bundle import FILE_NAMES, RecordBundle
from webapp.proof.keys.key_ring import new_head_signer
from webapp.proof.ledger import bundle_check
from webapp.proof.pdf.pdf_seal import seal
from webapp.record.pictures import shrunk
from webapp.services.audit import disposal, handing_out
from webapp.services.audit.handing_out import Asked, Public, hand_out
from webapp.services.errors import LedgerWentBack, NoSuchSetup, NothingToHandOut
from webapp.services.people import accounts, rights
from webapp.services.setups import recording
from webapp.services.shop import procedures, slots, step_pictures
from webapp.shop_folder import certificates_pem
from webapp.store.errors import DatabaseDamaged
from webapp.store.files import HashedFiles

RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
CHECKER = Path(bundle_check.__file__)


def public(house: House) -> Public:
    keys = "".join(f"{key.text}\n" for key in house.keyring.head_keys).encode()
    return Public(keys, certificates_pem(house.keyring), CHECKER.read_bytes())


def by_line(bundle: RecordBundle) -> bytes:
    return pdf_of("<p>A page</p>", bundle.files())


def sealing(house: House) -> Callable[[bytes, str], bytes]:
    def by_the_shop(pdf: bytes, at_utc: str) -> bytes:
        return seal(pdf, house.keyring, at_utc, "Kettle Lane Workshop", "Reviewed and accepted")

    return by_the_shop


def sealed(house: House) -> str:
    """A setup that is signed off, with a sealed PDF of one line that carries the record's own files."""
    walk = house.signed_off()
    ring, now = house.keyring, house.clock()
    recording.sealed_pdf(house.store, walk.setup, by_line, sealing(house), ring.head_signer, now, RENDERER)
    return walk.setup


def handed(house: House, asked: Asked) -> dict[str, bytes]:
    file = io.BytesIO()
    ring = house.keyring
    hand_out(house.store, ring.head_signer, asked, "odo", public(house), RENDERER, house.clock(), file)
    with zipfile.ZipFile(file) as bundle:
        return {name: bundle.read(name) for name in bundle.namelist()}


def summed(files: dict[str, bytes]) -> dict[str, bytes]:
    """The same with sums that fit again, as whoever changed something would write them."""
    sums = {
        name: bundle_check.sha256(data).hexdigest() for name, data in files.items() if name != "SHA256SUMS"
    }
    return {**files, "SHA256SUMS": "".join(f"{sum_}  {name}\n" for name, sum_ in sums.items()).encode()}


def holds(files: dict[str, bytes], keys: list[str] | None = None) -> bool:
    return bundle_check.check(files.__getitem__, set(files), keys, None)


@pytest.fixture
def told(house: House) -> tuple[House, str, dict[str, bytes]]:
    setup = sealed(house)
    house.accept(house.walk("tomas").start().parts)
    return house, setup, handed(house, Asked(since_utc="2000"))


def test_a_bundle_of_a_range_holds_and_the_program_in_it_runs_alone(
    told: tuple[House, str, dict[str, bytes]], tmp_path: Path
) -> None:
    house, setup, files = told
    assert holds(files, [key.text for key in house.keyring.head_keys])
    folders = {name.split("/")[1] for name in files if name.startswith("setups/")}
    assert setup in folders
    assert len(folders) == 2
    record = {"record.json", "sheet.json", "events.jsonl", "devices.json", "decisions.jsonl", "ledger.json"}
    beside = {"record.pdf", "entry.json", "entry.tlog-proof", "grown.json"}
    assert {name.split("/")[2] for name in files if setup in name} == record | beside
    tmp_path /= "out"
    for name, data in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(data)
    asked = subprocess.run(
        [sys.executable, "-I", tmp_path / "verify.py"], cwd="/", capture_output=True, text=True, check=False
    )
    assert (asked.returncode, asked.stderr) == (0, "")
    assert "the file is in the ledger" in asked.stdout
    with zipfile.ZipFile(tmp_path.parent / "bundle.zip", "w") as bundle:
        for name, data in {**files, "more.txt": b""}.items():
            bundle.writestr(name, data)
    again = subprocess.run(
        [sys.executable, "-I", tmp_path / "verify.py", tmp_path.parent / "bundle.zip"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert again.returncode == 1
    assert "files are missing or were added" in again.stdout


def test_the_program_in_it_is_short_and_needs_nothing_of_this_one() -> None:
    text = CHECKER.read_text()
    assert len(text.splitlines()) < 300
    assert "webapp" not in text


def test_changes_come_with_old_new_who_when_and_why(told: tuple[House, str, dict[str, bytes]]) -> None:
    house, _, files = told
    lines = [json.loads(line) for line in files["changes.jsonl"].splitlines()]
    names = {"index", "when", "who", "what", "about", "setup", "old", "new", "why", "text", "way", "earlier"}
    assert all(set(line) == names for line in lines)
    handed_out = [line for line in lines if line["what"] == "evidence.handed_out"]
    assert [(line["who"], line["new"]["setups"]) for line in handed_out] == [("odo", 2)]
    assert [line["index"] for line in lines] == sorted(line["index"] for line in lines)
    last = json.loads(handed(house, Asked(since_utc="2000"))["changes.jsonl"].splitlines()[-1])
    assert (last["what"], last["old"]) == ("evidence.handed_out", None)


def test_old_is_what_was_set_for_the_same_thing(house: House) -> None:
    store, now = house.store, house.clock()
    for machine in ("mill-1", "mill-2"):
        rights.authorise(store, "tomas", machine, None, "ines", now, "alone")
    rights.withdraw(store, "tomas", "mill-1", "Broke the rules", "ines", now)
    rights.authorise(store, "tomas", "mill-1", "2027-01-01T00:00:00.000Z", "ines", now, "alone")
    rights.authorise(store, "tomas", "mill-1", None, "ines", now)
    accounts.change_roles(store, "tomas", ["operator", "auditor"], "ines", now)
    with store.reading():
        first = store.ledger.size() - 6
    files = handed(house, Asked(since_utc="2000"))
    told = [json.loads(line) for line in files["changes.jsonl"].splitlines()]
    lines = [line for line in told if line["index"] >= first and line["about"] == "tomas"]
    old = [line["old"] for line in lines]
    assert old[1] is None or old[1]["machine"] == "mill-2"
    assert old[2] == lines[0]["new"]
    assert old[3] is None
    assert old[4] == lines[3]["new"]
    assert old[5] == ["operator", "lead"]
    assert lines[2]["why"] == "Broke the rules"
    assert bundle_check.THINGS == handing_out.THINGS
    assert holds(files)
    false_old = alter_change(files, lines[2]["index"], earlier=handing_line(lines[1]), old=lines[1]["new"])
    assert not holds(summed(false_old))


def handing_line(line: dict[str, Any]) -> dict[str, Any]:
    return {name: line[name] for name in ("index", "text", "way")}


def alter_change(files: dict[str, bytes], index: int, **fields: object) -> dict[str, bytes]:
    """The bundle with other fields in the line of one change."""
    lines = [json.loads(line) for line in files["changes.jsonl"].splitlines()]
    told = [{**line, **fields} if line["index"] == index else line for line in lines]
    assert told != lines
    return {**files, "changes.jsonl": "".join(f"{json.dumps(line)}\n" for line in told).encode()}


@pytest.mark.parametrize(
    "fields",
    [
        {"what": "person.praised"},
        {"why": "A kindness"},
        {"old": {"roles": ["lead"]}},
        {"setup": "00000000-0000-0000-0000-00000000dead"},
        {"note": "more than the ledger says"},
    ],
)
def test_a_field_of_a_change_that_the_ledger_does_not_say_is_found(
    one_bundle: tuple[str, dict[str, bytes]], fields: dict[str, object]
) -> None:
    _, files = one_bundle
    last = json.loads(files["changes.jsonl"].splitlines()[-1])["index"]
    assert not holds(summed(alter_change(files, last, **fields)))


def altered_event(data: bytes) -> bytes:
    return data.replace(b"A", b"B", 1)


def other_entry(data: bytes) -> bytes:
    return data.replace(b'"bytes":', b'"bytes":1')


def other_change(data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    return b"".join([lines[0].replace(b'"who":"', b'"who":"x'), *lines[1:]])


def without_a_change(data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    return b"".join([lines[0].replace(b'"index":', b'"index":1'), *lines[1:]])


def flipped_in_the_middle(data: bytes) -> bytes:
    return data[: len(data) // 3] + bytes([data[len(data) // 3] ^ 1]) + data[len(data) // 3 + 1 :]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("record.pdf", flipped_in_the_middle),
        ("record.pdf", lambda data: data + b"\n"),
        ("record.json", lambda data: data.replace(b"Kettle", b"Bottle")),
        ("sheet.json", lambda data: data.replace(b"Plover", b"Plower")),
        ("devices.json", lambda data: data.replace(b'"x":"', b'"x":"A')),
        ("events.jsonl", altered_event),
        ("events.jsonl", lambda data: data[: data.rindex(b"\n", 0, -1) + 1]),
        ("events.jsonl", lambda data: b"".join(reversed(data.splitlines(keepends=True)))),
        ("decisions.jsonl", lambda data: data.replace(b"accepted", b"excepted")),
        ("ledger.json", lambda data: data.replace(b'"index":', b'"index":1')),
        ("grown.json", lambda _: b'{"proof":[],"size":1}'),
        ("entry.json", other_entry),
        ("entry.tlog-proof", lambda data: data.replace(b"index ", b"index 1")),
        ("/head.txt", lambda data: data.replace(b"\n", b"\n1", 1)),
        ("/changes.jsonl", other_change),
        ("/changes.jsonl", without_a_change),
        ("/changes.jsonl", lambda data: data[:-20]),
    ],
)
def test_what_was_changed_is_found_though_the_sums_fit_again(
    one_bundle: tuple[str, dict[str, bytes]],
    name: str,
    change: Callable[[bytes], bytes],
    capsys: pytest.CaptureFixture[str],
) -> None:
    setup, files = one_bundle
    place = name[1:] if name.startswith("/") else f"setups/{setup}/{name}"
    changed = {**files, place: change(files[place])}
    assert changed[place] != files[place]
    assert not holds(changed)
    assert "was changed" in capsys.readouterr().out
    assert not holds(summed(changed))
    assert "=  files" in capsys.readouterr().out


@pytest.fixture(scope="module")
def one_bundle(
    furnished: Path, keyring: Any, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, dict[str, bytes]]:
    import shutil  # noqa: PLC0415

    folder = tmp_path_factory.mktemp("handed") / "shop"
    shutil.copytree(furnished, folder)
    house = House(folder, keyring, loaded=True)
    setup = sealed(house)
    files = handed(house, Asked(setup=setup))
    house.store.close()
    assert holds(files)
    return setup, files


def without(files: dict[str, bytes], setup: str, *names: str) -> dict[str, bytes]:
    return {
        name: data for name, data in files.items() if name not in {f"setups/{setup}/{one}" for one in names}
    }


@pytest.mark.parametrize("name", ["devices.json", "ledger.json", "record.json", "entry.json", "grown.json"])
@pytest.mark.parametrize("data", [b"[" * 100_000, b"7", b'{"data": 7}', b"[[]]", b"\xff"])
def test_what_cannot_be_read_does_not_hold_and_is_said(
    told: tuple[House, str, dict[str, bytes]], capsys: pytest.CaptureFixture[str], name: str, data: bytes
) -> None:
    house, setup, files = told
    capsys.readouterr()
    changed = summed({**files, f"setups/{setup}/{name}": data})
    assert not holds(changed, [key.text for key in house.keyring.head_keys])
    said = capsys.readouterr().out.splitlines()
    assert [line for line in said if line.startswith(f"\u00d7  setups/{setup}/")]
    assert said[-1].startswith("SOMETHING DOES NOT HOLD")


def test_a_sealed_setup_cannot_be_made_one_that_was_never_sealed(
    one_bundle: tuple[str, dict[str, bytes]], capsys: pytest.CaptureFixture[str]
) -> None:
    setup, files = one_bundle
    fewer = without(files, setup, "record.pdf", "entry.json", "entry.tlog-proof")
    assert not holds(summed(fewer))
    assert "its sealed record is not here" in capsys.readouterr().out
    assert not holds(summed({**fewer, f"setups/{setup}/sheet.json": b"{}"}))
    assert "of another setup or sheet" in capsys.readouterr().out


def test_one_file_cannot_stand_in_for_another_that_is_attached_too(
    one_bundle: tuple[str, dict[str, bytes]], capsys: pytest.CaptureFixture[str]
) -> None:
    setup, files = one_bundle
    at = f"setups/{setup}/"
    proofs = json.loads(files[at + "ledger.json"])
    moved = {
        **files,
        at + "decisions.jsonl": files[at + "events.jsonl"],
        at + "ledger.json": json.dumps({**proofs, "decisions": proofs["events"]}).encode(),
    }
    assert not holds(summed(moved))
    held = bundle_check.attached(files[at + "record.pdf"])
    assert held == {
        name: bundle_check.sha256(files[at + name]).digest() for name in (*FILE_NAMES, "ledger.json")
    }
    assert not holds(summed({**files, at + "devices.json": files[at + "record.json"]}))
    capsys.readouterr()


def test_an_unsealed_setup_is_bound_to_its_folder_its_sheet_and_its_tablets(
    told: tuple[House, str, dict[str, bytes]], capsys: pytest.CaptureFixture[str]
) -> None:
    house, sealed_one, files = told
    other = next(
        name.split("/")[1] for name in files if name.startswith("setups/") and sealed_one not in name
    )
    at = f"setups/{other}/"
    assert holds(files)
    assert f"{at}: " in (words := capsys.readouterr().out)
    assert "not sealed: what record.json says, and names in devices.json, is nobody's word" in words
    devices = json.loads(files[at + "devices.json"])
    strangers = [{**one, "jwk": {**one["jwk"], "x": one["jwk"]["y"]}} for one in devices]
    for name, data in (
        ("sheet.json", files[at + "sheet.json"].replace(b"1", b"2", 1)),
        ("record.json", files[f"setups/{sealed_one}/record.json"]),
        ("devices.json", json.dumps(strangers).encode()),
    ):
        assert not holds(summed({**files, at + name: data})), name
    inside = {name for name in files if name.startswith("setups/")}
    there = {
        name.replace(other, "?").replace(sealed_one, other).replace("?", sealed_one): files[name]
        for name in inside
    }
    capsys.readouterr()
    assert not holds(
        summed(
            {**files, **there}
            if there.keys() == inside
            else {**{name: data for name, data in files.items() if name not in inside}, **there}
        )
    )
    assert capsys.readouterr().out.count("of another setup") == 2
    house.store.close()


def test_what_comes_while_a_bundle_is_made_is_left_to_the_next_one(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    setup = house.signed_off().setup
    walk = house.walk("tomas").start()
    house.accept(walk.parts)
    head_of = handing_out.sign_head

    def and_then(store: Any, signer: Any) -> str:
        note = head_of(store, signer)
        with store.reading():
            noted = store.ledger.changes(kind=handing_out.HANDED_OUT)
        if noted:
            ring, now = house.keyring, house.clock()
            house.accept(house.walk("tomas").start().parts)
            recording.sealed_pdf(house.store, setup, by_line, sealing(house), ring.head_signer, now, RENDERER)
        return note

    monkeypatch.setattr(handing_out, "sign_head", and_then)
    files = handed(house, Asked(since_utc="2000"))
    assert f"setups/{setup}/record.pdf" not in files
    assert holds(without_folder(files, setup))
    monkeypatch.undo()
    again = handed(house, Asked(since_utc="2000"))
    assert f"setups/{setup}/record.pdf" in again
    assert holds(again)


def without_folder(files: dict[str, bytes], setup: str) -> dict[str, bytes]:
    return summed({name: data for name, data in files.items() if f"setups/{setup}/" not in name})


def test_a_bundle_that_is_refused_leaves_no_entry_that_one_was_handed_out(house: House) -> None:
    house.accept(house.walk("tomas").start().parts)
    house.store.kept_head.replace(10**6, "ab" * 32)
    with pytest.raises(LedgerWentBack):
        handed(house, Asked(since_utc="2000"))
    with house.store.reading():
        assert not house.store.ledger.changes(kind=handing_out.HANDED_OUT)


def test_keys_of_another_shop_do_not_fit(one_bundle: tuple[str, dict[str, bytes]]) -> None:
    assert not holds(one_bundle[1], [new_head_signer().verifier.text])
    assert not holds(one_bundle[1], [])  # an empty file of keys is not the same as none


def test_a_head_that_the_shop_did_not_sign_is_not_taken(one_bundle: tuple[str, dict[str, bytes]]) -> None:
    _, files = one_bundle
    text = files["head.txt"].decode().rpartition("\n\n")[0] + "\n"
    name = text.split("\n")[0]
    forged = new_head_signer(name=name)
    known = files["keys/ledger-keys.txt"].decode().split()
    changed = summed({**files, "head.txt": forged.sign(text).encode()})
    assert not holds(changed)
    own = {**changed, "keys/ledger-keys.txt": f"{forged.verifier.text}\n".encode()}
    assert not holds(summed(own))
    assert not holds(summed(own), known)


def test_what_cannot_be_handed_out_is_refused(house: House) -> None:
    with pytest.raises(NoSuchSetup):
        handed(house, Asked(setup="00000000-0000-0000-0000-00000000dead"))
    with pytest.raises(NothingToHandOut):
        handed(house, Asked(since_utc="2026-11-30", until_utc="2026-11-29"))


@pytest.fixture
def of_a_change(house: House) -> dict[str, bytes]:
    """A bundle of days on which no setup was started: what a lead changed, and nothing else."""
    sealed(house)
    house.clock.forward(days=2)
    since = house.clock.text
    slots.give_slot(house.store, "mill-1", "G57", "ines", None, "ines", house.clock())
    slots.end_slot(house.store, "mill-1", "G57", "ines", house.clock())
    rights.authorise(house.store, "ivo", "mill-2", None, "ines", house.clock(), "alone")
    return handed(house, Asked(since_utc=since))


def test_a_bundle_of_a_change_holds_by_itself_without_a_setup(of_a_change: dict[str, bytes]) -> None:
    assert not [name for name in of_a_change if name.startswith("setups/")]
    lines = [json.loads(line) for line in of_a_change["changes.jsonl"].splitlines()]
    changed = ["slot.given", "slot.ended", "person.authorised", "evidence.handed_out"]
    assert [line["what"] for line in lines] == changed
    assert lines[1]["old"] == lines[0]["new"]
    assert {line["who"] for line in lines} == {"ines", "odo"}
    assert holds(of_a_change)


@pytest.mark.parametrize("index", range(4))
@pytest.mark.parametrize(
    "fields", [{"who": "mara"}, {"about": "mill-9"}, {"when": "2026-11-25T08:00:00.000Z"}]
)
def test_a_change_in_a_bundle_of_its_own_is_what_the_ledger_says(
    of_a_change: dict[str, bytes], index: int, fields: dict[str, object]
) -> None:
    places = [json.loads(line)["index"] for line in of_a_change["changes.jsonl"].splitlines()]
    assert not holds(summed(alter_change(of_a_change, places[index], **fields)))


def test_a_change_that_was_taken_from_another_ledger_leads_to_no_head_of_this_one(
    of_a_change: dict[str, bytes],
) -> None:
    first = json.loads(of_a_change["changes.jsonl"].splitlines()[0])
    text = first["text"].replace('"person":"ines"', '"person":"mara"')
    assert text != first["text"]
    new = {**first["new"], "person": "mara"}
    assert not holds(summed(alter_change(of_a_change, first["index"], text=text, new=new)))


def with_a_picture(house: House) -> str:
    """Let a step of the shop's procedure show a picture; its SHA-256."""
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    about = (house.store, "shop", draft.seen, "vise.wipe")
    draft = step_pictures.put(*about, jpeg(), "The jaw, wiped.", shrunk, "ines", house.clock())
    publish(house.store, "shop", draft.seen, "A picture.", "ines", house.clock())
    (path,) = house.store.step_pictures.folder.glob("*/*")
    return path.name


def test_what_steps_showed_lies_in_a_bundle_once_and_another_in_its_place_is_found(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    digest = with_a_picture(house)
    setups = [sealed(house), house.signed("tomas").setup]
    files = handed(house, Asked(since_utc="2000"))
    name = f"pictures/{digest}.jpg"
    assert [one for one in files if digest in one] == [name]
    assert files[name] == house.store.step_pictures.read(digest)
    assert all(digest.encode() in files[f"setups/{setup}/sheet.json"] for setup in setups)
    capsys.readouterr()
    assert holds(files)
    assert "1 of 1 step pictures" in capsys.readouterr().out
    assert name in handed(house, Asked(setup=setups[1]))
    other = jpeg((640, 480))
    fresh = f"pictures/{bundle_check.sha256(other).hexdigest()}.jpg"
    for changed in ({**files, name: other}, {**files, fresh: other}):
        assert not holds(summed(changed))
        assert "another picture" in capsys.readouterr().out


def test_a_step_picture_that_is_gone_or_another_is_left_out_and_counted(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    digest = with_a_picture(house)
    sealed(house)
    lies = house.store.step_pictures.path(digest)
    for spoil in (lambda: lies.write_bytes(lies.read_bytes() + b"x"), lies.unlink):
        spoil()
        files = handed(house, Asked(since_utc="2000"))
        assert not [name for name in files if name.startswith("pictures/")]
        capsys.readouterr()
        assert holds(files)
        assert "0 of 1 step pictures" in capsys.readouterr().out


def dispose(house: House) -> None:
    """Dispose of every record, the files too."""
    rows = disposal.older_than(house.store, 1, house.clock())
    asked = disposal.Asked("A year is over.", "ines", house.clock())
    assert disposal.dispose(house.store, rows, asked).left == []


def and_then(files: HashedFiles, act: Callable[[], None], monkeypatch: pytest.MonkeyPatch, at: int) -> None:
    """Do this once, before the file that is read as this number, counted from 1."""
    whole, count = files.whole, iter(range(1, 1000))

    def wrapped(digest: str) -> bytes | None:
        if next(count) == at:
            act()
        return whole(digest)

    monkeypatch.setattr(files, "whole", wrapped)


@pytest.mark.parametrize(("what", "at"), [("record", 1), ("record", 2), ("photo", 1), ("photo", 2)])
def test_a_record_that_is_disposed_of_while_a_bundle_is_made_is_left_out_from_there_on(
    house: House, monkeypatch: pytest.MonkeyPatch, what: str, at: int
) -> None:
    for number in range(2):
        walk = to_photo(house.walk().start())
        sizes = ((SIZE[0] - number, SIZE[1]), (SIZE[0], SIZE[1] - 1 - number))
        events = [taken(walk, jpeg(size), size) for size in sizes]
        walk.until("sign")
        finish(house, walk)
        for event, size in zip(events, sizes, strict=True):
            assert sent(house, event, jpeg(size))["outcome"] == "kept"
        house.clock.forward(minutes=1)
        house.sign_off(walk.setup)
        ring, now = house.keyring, house.clock()
        recording.sealed_pdf(
            house.store, walk.setup, by_line, sealing(house), ring.head_signer, now, RENDERER
        )
    house.clock.forward(days=400)
    store = house.store
    and_then(
        store.records.files if what == "record" else store.photos, lambda: dispose(house), monkeypatch, at
    )
    files = handed(house, Asked(since_utc="2000"))
    records = sum(name.endswith("record.pdf") for name in files)
    photos = sum("/photo-" in name for name in files)
    assert (records, photos) == {
        ("record", 1): (0, 0), ("record", 2): (1, 2), ("photo", 1): (1, 0), ("photo", 2): (1, 1),
    }[what, at]  # fmt: skip
    assert holds(files)


def test_a_record_whose_file_is_gone_without_a_tombstone_is_still_said(house: House) -> None:
    setup = sealed(house)
    with house.store.reading():
        row = house.store.records.record(setup)
    assert row
    house.store.records.files.remove(row["sha256"])
    with pytest.raises(DatabaseDamaged):
        handed(house, Asked(since_utc="2000"))
