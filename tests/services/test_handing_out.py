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
from tests.proof.pdfs import pdf_of
from webapp.composition import certificates_pem
from webapp.domain.record.bundle import RecordBundle
from webapp.proof import bundle_check
from webapp.proof.keys import new_head_signer
from webapp.proof.pdf_seal import seal
from webapp.services.audit.handing_out import Asked, Public, hand_out
from webapp.services.errors import NoSuchSetup, NothingToHandOut
from webapp.services.setups import recording

RENDERER = {"weasyprint": "70.0", "zerokeep": "0.1.0"}
CHECKER = Path(bundle_check.__file__)


def public(house: House) -> Public:
    keys = "".join(f"{key.text}\n" for key in house.keyring.head_keys).encode()
    return Public(keys, certificates_pem(house.keyring), CHECKER.read_bytes())


def sealed(house: House) -> str:
    """A setup that is signed off, with a sealed PDF of one line that carries the record's own files."""

    def render(bundle: RecordBundle) -> bytes:
        return pdf_of("<p>A page</p>", bundle.files())

    def by_the_shop(pdf: bytes, at_utc: str) -> bytes:
        return seal(pdf, house.keyring, at_utc, "Kettle Lane Workshop", "Reviewed and accepted")

    walk = house.signed_off()
    ring, now = house.keyring, house.clock()
    recording.sealed_pdf(house.store, walk.setup, render, by_the_shop, ring.head_signer, now, RENDERER)
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
    return bundle_check.check(files.__getitem__, set(files), keys or [], b"")


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
    assert {"index", "when", "who", "what", "about", "setup", "old", "new", "why", "text", "way"} == set(
        lines[0]
    )
    handed_out = [line for line in lines if line["what"] == "evidence.handed_out"]
    assert [(line["who"], line["new"]["setups"]) for line in handed_out] == [("odo", 2)]
    again = handed(house, Asked(since_utc="2000"))
    last = json.loads(again["changes.jsonl"].splitlines()[-1])
    assert last["old"] == last["new"]
    assert sum(len(line) for line in files["changes.jsonl"].splitlines()) > 0
    assert [line["index"] for line in lines] == sorted(line["index"] for line in lines)


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


def test_keys_of_another_shop_do_not_fit(one_bundle: tuple[str, dict[str, bytes]]) -> None:
    assert not holds(one_bundle[1], [new_head_signer().verifier.text])


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
