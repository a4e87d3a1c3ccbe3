"""`zerokeep load`: faults all at once, changes only where the file differs, and a dry run that leaves
nothing.
"""

import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from webapp.cli import main
from webapp.demo.demo_shop import SHOP_FILE, WRITTEN_FOR, demo_shop_text
from webapp.domain.shop.shop_file import read_shop
from webapp.store import Store

DEMO = demo_shop_text(date(2026, 11, 25))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ZEROKEEP_KEY_PASSPHRASE", "only for this test, long enough")
    return tmp_path / "data"


def shop_file(tmp_path: Path, text: str = DEMO) -> str:
    path = tmp_path / "SHOP.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def load(folder: Path, file: str, *more: str) -> int:
    return main(["load", file, "--data-folder", str(folder), *more])


def ledger_size(folder: Path) -> int:
    store = Store.open(folder / "zerokeep.db")
    try:
        with store.reading():
            return store.ledger.size()
    finally:
        store.close()


def test_every_fault_is_said_at_once_and_nothing_is_changed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = DEMO.replace('unit = "in"', 'unit = "inch"').replace('owner = "ilse"', 'owner = "ilsa"')
    assert load(folder, shop_file(tmp_path, broken)) == 1
    said = capsys.readouterr().err
    assert "machine “dunlin”, unit: Expected: mm or in." in said
    assert "slot dunlin W4: There is no person “ilsa” in this file." in said
    assert not folder.exists()


def test_a_slot_in_another_spelling_is_the_same_slot(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path)) == 0
    capsys.readouterr()
    again = shop_file(tmp_path, DEMO.replace('label = "G55"', 'label = "g55"'))
    assert load(folder, again, "--json") == 0
    assert json.loads(capsys.readouterr().out)["changes"] == []


def test_the_demo_shop_loads_as_its_file_lies(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert load(folder, str(SHOP_FILE), "--dry-run", "--json") == 0
    changes = json.loads(capsys.readouterr().out)["changes"]
    assert sum(change["type"] == "person.added" for change in changes) == 12


def test_the_demo_shops_days_all_move_with_the_day_that_the_demo_starts() -> None:
    lies, later = (read_shop(demo_shop_text(day)) for day in (WRITTEN_FOR, WRITTEN_FOR + timedelta(days=9)))
    assert demo_shop_text(WRITTEN_FOR) == SHOP_FILE.read_text(encoding="utf-8")
    ends = [
        [one.until_utc[:10] for one in (*shop.authorisations, *shop.slots) if one.until_utc]
        for shop in (lies, later)
    ]
    begun = [[one.since_utc[:10] for one in shop.seatings] for shop in (lies, later)]
    for before, after in (ends, begun):
        assert len(before) == len(after) > 3
        moved = {
            date.fromisoformat(then) - date.fromisoformat(first)
            for first, then in zip(before, after, strict=True)
        }
        assert moved == {timedelta(days=9)}


def test_faults_as_json_carry_code_and_place(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path, "[shop]\nname = 3\n"), "--json") == 1
    faults = json.loads(capsys.readouterr().out)["faults"]
    assert {"shop_file.field_missing", "shop_file.field_wrong"} <= {fault["code"] for fault in faults}


def test_a_dry_run_says_the_changes_and_leaves_nothing(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--dry-run", "--json") == 0
    changes = json.loads(capsys.readouterr().out)["changes"]
    assert sum(change["type"] == "person.added" for change in changes) == 12
    assert not any("secrets" in change for change in changes)
    assert ledger_size(folder) == 0


def test_loading_again_changes_only_what_differs(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--json") == 0
    first = json.loads(capsys.readouterr().out)["changes"]
    assert sum("secrets" in change for change in first) == 12
    size = ledger_size(folder)

    assert load(folder, shop_file(tmp_path), "--json") == 0
    assert json.loads(capsys.readouterr().out)["changes"] == []
    assert ledger_size(folder) == size

    slower = DEMO.replace("first_feed_mm_per_min = 900", "first_feed_mm_per_min = 600")
    assert load(folder, shop_file(tmp_path, slower), "--json") == 0
    changed = json.loads(capsys.readouterr().out)["changes"]
    assert [(change["type"], change["subject"]) for change in changed] == [("machine.changed", "plover")]


def test_a_new_seating_in_the_file_starts_one(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load(folder, shop_file(tmp_path))
    capsys.readouterr()
    moved = DEMO.replace(
        'Moved two slots to the right and trammed" },',
        'Moved two slots to the right and trammed" },\n'
        '  { id = "dunlin-vise-3", since = 2026-11-25T06:00:00Z, reason = "Cleaned and seated again" },',
    )
    assert load(folder, shop_file(tmp_path, moved), "--json") == 0
    changed = json.loads(capsys.readouterr().out)["changes"]
    assert [(change["type"], change["subject"]) for change in changed] == [("seating.started", "dunlin-vise")]


def test_first_secrets_are_shown_once_and_open_nothing_but_the_change(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load(folder, shop_file(tmp_path))
    said = capsys.readouterr().out
    assert "First secrets, shown this once" in said
    load(folder, shop_file(tmp_path))
    assert "First secrets" not in capsys.readouterr().out


def test_a_file_that_is_not_there_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert load(folder, "nowhere.toml") == 2
    assert "nowhere.toml" in capsys.readouterr().err


def test_a_dry_run_says_the_first_lines_and_windows_of_every_touch(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--dry-run") == 0
    said = capsys.readouterr().out
    assert "Plover, Vise A, X: asks beyond ±0.0" in said
    assert "Dunlin, Vise B, Z: asks beyond ±0.00" in said
    assert said.count("stops beyond") == 6
    assert said.count("    first setup: gap 2.0 to 4.0, range 5.000 mm, first feed 900 mm/min.") == 3
    assert said.count("    gap 2.0 to 3.5, range 5.000 mm, first feed 900 mm/min.") == 3
    assert "Look once more" not in said
    assert "Would change:" in said


LEFT_OUT = {
    "u_axis_um = { X = 2.5, Y = 2.5, Z = 3 }\n": ("machine “dunlin”", "coming back to 3 µm (standard"),
    "u_probe_um = 1.2\n": ("probe “probe-4”", "answering within 2 µm (standard"),
    "u_seat_um = 5\n": ("fixture “dunlin-vise”", "seating to 5 µm (standard"),
    "expanding_length_in = 11\n": ("fixture “dunlin-vise”", "300 mm between vise"),
    "temperature_half_range_kelvin = 4\n": ("shop", "swinging 5 K to either side"),
    "expansion_um_per_m_kelvin = 11.5  # of the machine, in micrometres a metre and kelvin\n": (
        "shop",
        "growing 11.5 µm/(m·K)",
    ),
}


def test_what_the_file_leaves_out_of_the_floor_counts_as_said_and_never_as_nothing(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--dry-run", "--json") == 0
    assert json.loads(capsys.readouterr().out)["left_out"] == []
    shorter = DEMO
    for line in LEFT_OUT:
        assert shorter.count(line) == 1, line
        shorter = shorter.replace(line, "")
    assert load(folder, shop_file(tmp_path, shorter), "--dry-run", "--json") == 0
    said = {one["detail"]: one["place"] for one in json.loads(capsys.readouterr().out)["left_out"]}
    assert len(said) == len(LEFT_OUT)
    for place, words in LEFT_OUT.values():
        assert [at for detail, at in said.items() if words in detail] == [place]
    assert all("no source" in detail or "from memory" in detail for detail in said)
    assert load(folder, shop_file(tmp_path, shorter), "--dry-run") == 0
    shown = capsys.readouterr().out
    assert "  machine “dunlin”: Left out. Each axis counts as" in shown.split("The file leaves out")[1]
    assert "Dunlin, Vise B, Z: asks beyond ±0.00" in shown


@pytest.mark.parametrize(
    ("written", "typed", "place", "value"),
    [
        ("search_cap_in = 0.25", "search_cap_in = 2.5", "shop, search_cap", "63.5 mm"),
        ("stylus_reach_mm = 40", "stylus_reach_mm = 400", "probe “probe-6”, stylus_reach", "400 mm"),
        ("ball_diameter_mm = 6", "ball_diameter_mm = 60", "probe “probe-6”, ball_diameter", "60 mm"),
        (
            "first_feed_mm_per_min = 900",
            "first_feed_mm_per_min = 3000",
            "machine “plover”, first_feed_mm_per_min",
            "3000 mm/min",
        ),
        ("ceiling_mm = 0.5", "ceiling_mm = 5", "shop, ceiling", "5 mm"),
        ("jaw_length_mm = 160", "jaw_length_mm = 16000", "fixture “plover-vise”, jaw_length", "16000 mm"),
        ("u_seat_um = 4 ", "u_seat_um = 0 ", "fixture “plover-vise”, u_seat", "0 µm"),
    ],
)
def test_a_dry_run_doubts_a_measure_that_can_be_and_hardly_is(
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    written: str,
    typed: str,
    place: str,
    value: str,
) -> None:
    assert written in DEMO
    file = shop_file(tmp_path, DEMO.replace(written, typed, 1))
    assert load(folder, file, "--dry-run") == 0
    said = capsys.readouterr().out.split("Look once more:")[1]
    assert f"{place}: {value} is unusual." in said
    assert load(folder, file, "--dry-run", "--json") == 0
    doubted = json.loads(capsys.readouterr().out)["look_once_more"]
    assert place in [one["place"] for one in doubted]


def test_a_machine_whose_rows_of_zeros_could_send_the_tool_down_is_doubted_until_it_is_parked(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    low = DEMO.replace("probe_sleeps_minutes = 10", "z_zero_at_top = false\nprobe_sleeps_minutes = 10")
    assert load(folder, shop_file(tmp_path, low), "--dry-run") == 0
    assert "machine “plover”, parked_z: Machine Z zero is not at the top" in capsys.readouterr().out
    parked = low.replace("\nz_zero_at_top = false", "\nz_zero_at_top = false\nparked_z_mm = -20")
    assert load(folder, shop_file(tmp_path, parked), "--dry-run") == 0
    assert "parked_z" not in capsys.readouterr().out


def test_a_radius_far_from_half_the_ball_is_doubted(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    slipped = DEMO.replace("effective_radius_mm = 2.996", "effective_radius_mm = 2.696")
    assert load(folder, shop_file(tmp_path, slipped), "--dry-run") == 0
    assert (
        "effective_radius: It differs from half the ball's diameter by 0.304 mm." in capsys.readouterr().out
    )


def test_a_field_that_is_new_changes_nothing_by_itself(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path), "--json") == 0
    store = Store.open(folder / "zerokeep.db")
    with store.writing():
        for machine_id, value in store.shop.items("machine").items():
            old = {name: one for name, one in value.items() if name != "guarded_lowering"}
            store.shop.put("machine", machine_id, old)
    store.close()
    capsys.readouterr()
    assert load(folder, shop_file(tmp_path), "--json") == 0
    assert json.loads(capsys.readouterr().out)["changes"] == []


def test_a_seating_that_is_still_to_come_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    later = DEMO.replace("since = 2026-10-04T07:30:00Z", "since = 2999-10-04")
    assert load(folder, shop_file(tmp_path, later)) == 1
    assert "which is still to come" in capsys.readouterr().err
    assert not folder.exists()


def test_the_whole_shop_is_written_out_as_a_file_that_changes_nothing_when_it_is_loaded(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert load(folder, shop_file(tmp_path)) == 0
    size, out = ledger_size(folder), tmp_path / "out.toml"
    assert main(["shop-file", str(out), "--data-folder", str(folder)]) == 0
    assert load(folder, str(out), "--json") == 0
    assert json.loads(capsys.readouterr().out.partition("Written")[2].partition("\n")[2])["changes"] == []
    assert ledger_size(folder) == size
    assert main(["shop-file", str(out), "--data-folder", str(folder)]) == 2, "nothing is written over"


def test_a_starter_is_written_and_refused_until_it_is_filled_in(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start = tmp_path / "mine.toml"
    assert main(["starter", str(start)]) == 0
    assert "zerokeep load mine.toml --dry-run" in " ".join(start.read_text(encoding="utf-8").split())
    assert load(folder, str(start), "--dry-run") == 1
    assert "machine “mill”, travel_mm" in capsys.readouterr().err
    assert main(["starter", str(start)]) == 2
    assert main(["shop-file", str(tmp_path / "x.toml"), "--data-folder", str(folder)]) == 1
