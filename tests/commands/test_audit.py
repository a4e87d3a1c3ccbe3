"""`zerokeep audit`: nothing found in a whole shop, every finding by its record, and an exit status that says
which.
"""

import json
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from tests.kit.clock import Clock
from tests.kit.grown import grow
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.kit.tampering import without_triggers
from webapp.cli import main


@pytest.fixture
def house(tmp_path: Path) -> House:
    house = House(tmp_path / "shop", fixed_keyring(tmp_path / "keys", Clock()))
    house.sheet()
    house.store.close()
    return house


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()


def alter(house: House) -> None:
    """Somebody with the file and a tool."""
    connection = sqlite3.connect(house.folder / "zerokeep.db")
    with without_triggers(connection.execute):
        connection.execute("UPDATE sheet SET text = text || ' '")
    connection.commit()
    connection.close()


def audit(house: House, *more: str) -> int:
    return main(["audit", "--data-folder", str(house.folder), *more])


def test_a_whole_shop_has_no_findings(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    assert audit(house) == 0
    assert "Everything is as it was written." in capsys.readouterr().out
    with house.store.reading():
        assert len(house.store.ledger.changes(kind="audit.ran")) == 1


def test_what_does_not_fit_is_said_by_record_with_a_status_of_its_own(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    alter(house)
    assert audit(house) == 1
    said = capsys.readouterr().out
    assert "A setup sheet was changed: sheet " in said
    assert "bring back a backup" in said


def test_the_outcome_can_be_had_as_json(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    alter(house)
    assert audit(house, "--json") == 1
    said = json.loads(capsys.readouterr().out)
    assert (said["faults"], said["found"][0]["code"]) == (1, "audit.sheet")
    assert said["not_covered"]["device.last_seen_at_utc"] == "when a tablet was last heard of"


def test_a_folder_without_a_shop_is_refused_and_nothing_is_made_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["audit", "--data-folder", str(tmp_path / "nowhere")]) == 2
    assert "no shop in" in capsys.readouterr().err
    assert not (tmp_path / "nowhere").exists()


def test_the_new_alone_can_be_asked_for(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    assert audit(house) == 0
    assert audit(house, "--new") == 0
    said = capsys.readouterr().out
    assert "Looked at 1 entries of the ledger, those from entry " in said  # the first audit's own
    assert "Nothing of what was looked at differs from what was written." in said
    assert said.count("Everything is as it was written.") == 1


def test_the_audit_has_a_process_of_its_own_that_stays_small(house: House) -> None:
    """The most that any process of ours took is asked of the system after a long ledger was looked at."""
    grow(house, 5_000)
    house.store.close()
    script = (
        "import resource, sys; from pathlib import Path; from webapp.server.audit_room import audit_apart; "
        "found = audit_apart(Path(sys.argv[1])); assert 'webapp.store' not in sys.modules; "
        "print(found['entries'], resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(house.folder / "zerokeep.db")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    entries, most_kib = map(int, done.stdout.split())
    assert entries > 15_000
    assert most_kib < 100 * 1_000_000 / 1_024


def test_a_database_that_cannot_be_read_is_said_with_a_status_of_its_own(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    (house.folder / "zerokeep.db").write_bytes(b"no database at all" * 100)
    assert audit(house) == 3
    said = capsys.readouterr().err
    assert "the audit could not be done" in said
    assert "is damaged or is no database" in said


def test_an_audit_that_fails_in_any_other_way_is_said_in_a_sentence(
    house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    (house.folder / "zerokeep.db").unlink()
    (house.folder / "zerokeep.db").mkdir()
    assert audit(house) == 3
    assert "Traceback" not in capsys.readouterr().err


def test_the_audits_process_ends_where_the_one_that_asked_is_gone_already(house: House) -> None:
    ended = subprocess.Popen(["true"])
    ended.wait()
    asked = [str(house.folder / "zerokeep.db"), str(ended.pid)]
    done = subprocess.run(
        [sys.executable, "-m", "webapp.server.audit_room", *asked], check=False, capture_output=True
    )
    assert done.returncode == -signal.SIGTERM
