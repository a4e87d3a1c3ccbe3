"""Past values in and out: every line that is refused has its number and its reason."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.usual.history_columns import (
    HistoryColumnMissingError,
    HistoryColumnTwiceError,
    HistoryColumnUnknownError,
    HistoryEmptyError,
)
from webapp.domain.usual.history_csv import (
    LONGEST_LINE,
    HistoryRow,
    Known,
    MachineLimits,
    RefusedLine,
    decode_lines,
    dry_run,
    read_history,
    write_history,
)
from webapp.words import say

MM = Display(Unit.MM, 3)
INCH = Display(Unit.INCH, 4)
KNOWN = Known(
    {"mill-1": MachineLimits({"X": (-762_000_000, 0), "Y": (-406_000_000, 0), "Z": (-508_000_000, 0)})},
    {"vise-a": frozenset({"s1", "s2"})},
)
HEADER = "at_utc,machine,fixture,seating,person,setup,x_mm,y_mm,z_mm\n"
GOOD = "2026-11-25T08:03:12Z,mill-1,vise-a,s1,mara,old-1,-381.250,-152.400,-300.050\n"


def read(*lines: str) -> list[HistoryRow | RefusedLine]:
    return list(read_history(lines, KNOWN))


def reason(line: str, header: str = HEADER) -> tuple[str, dict[str, Any]]:
    (refused,) = read(header, line)
    assert isinstance(refused, RefusedLine)
    assert refused.line == 2
    assert say(refused.reason.code, refused.reason.fields)
    return refused.reason.code, refused.reason.fields


def row(line: str, header: str = HEADER) -> HistoryRow:
    (found,) = read(header, line)
    assert isinstance(found, HistoryRow), found
    return found


def test_a_line_is_one_setups_values() -> None:
    found = row(GOOD)
    assert found.values_nm == {"X": -381_250_000, "Y": -152_400_000, "Z": -300_050_000}
    assert (found.line, found.at_utc, found.setup) == (2, "2026-11-25T08:03:12.000Z", "old-1")


def test_each_column_has_its_own_unit() -> None:
    header = "AT_UTC; x_in ;y_mm;machine;fixture;seating\n"
    found = row("2026-11-25;-15,0098;-152,4;mill-1;vise-a;s1\n", header)
    assert found.values_nm == {"X": -381_248_920, "Y": -152_400_000}
    assert (found.at_utc, found.person, found.setup) == ("2026-11-25T00:00:00.000Z", "", "")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_commas_semicolons_and_tabs_separate(separator: str) -> None:
    assert row(GOOD.replace(",", separator), HEADER.replace(",", separator)).values_nm["X"] == -381_250_000


def test_a_byte_order_mark_and_line_ends_of_any_kind_are_taken() -> None:
    raw = ("\ufeff" + HEADER + GOOD).replace("\n", "\r\n").encode()
    for size in (1, 7, len(raw)):
        chunks = [raw[at : at + size] for at in range(0, len(raw), size)]
        found = list(read_history(decode_lines(chunks), KNOWN))
        assert [item.line for item in found if isinstance(item, HistoryRow)] == [2]
    assert isinstance(read("\ufeff" + HEADER, GOOD)[0], HistoryRow)


def test_empty_lines_and_axes_that_were_not_touched_are_passed_over() -> None:
    found = read(HEADER, "\n", ",,,,,,,,\n", GOOD.replace("-152.400", ""))
    assert [(item.line, dict(item.values_nm).keys()) for item in found if isinstance(item, HistoryRow)] == [
        (4, {"X", "Z"})
    ]
    assert len(found) == 1


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("-381.250", "-9683.75", "length.beyond_travel"),
        ("-381.250", "-15.01 in", "length.blank_inside"),
        ("-381.250", "-3.8e2", "length.exponent"),
        ("-381.250", "-381.2.50", "length.more_than_one_separator"),
        ("-381.250", "-381.2501234", "length.too_many_decimals"),
        ("-381.250,-152.400,-300.050", ",,", "history.no_value"),
        ("-381.250", "=A1+3", "history.formula"),
        ("mara", "@SUM(A1)", "history.formula"),
        ("mara", "-cmd|' /C x'!A0", "history.formula"),
        ("mara", "ma\x07ra", "history.not_text"),
        ("mara", "ma\ufffdra", "history.not_text"),
        ("mill-1", "mill-9", "history.machine_unknown"),
        ("vise-a", "vise-z", "history.fixture_unknown"),
        (",s1,", ",s9,", "history.seating_unknown"),
        ("2026-11-25T08:03:12Z", "25.11.2026", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "2026-11-25T08:03:12", "history.time_unreadable"),
        # In UTC these would lie beyond the calendar's ends: a crash, where it is only a line.
        ("2026-11-25T08:03:12Z", "9999-12-31T23:59:59-12:00", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "0001-01-01T00:00:00+12:00", "history.time_unreadable"),
        # A week's day is as long as a day of a month, and is none.
        ("2026-11-25T08:03:12Z", "2026-W48-3", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "2026-W48", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "2026-329", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "20261125", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "2026-02-30", "history.time_unreadable"),
        ("2026-11-25T08:03:12Z", "٢٠٢٦-11-25", "history.time_unreadable"),
        (",mara", "", "history.cells"),
        ("mara", '"mara', "history.line_unreadable"),
    ],
)
def test_a_line_is_refused_with_its_reason(old: str, new: str, code: str) -> None:
    line = GOOD.replace(old, new)
    assert line != GOOD
    assert reason(line)[0] == code


SHOWS = {
    "mm": Known({"mill-1": replace(KNOWN.machines["mill-1"], display=MM)}, KNOWN.seatings),
    "in": Known({"mill-1": replace(KNOWN.machines["mill-1"], display=INCH)}, KNOWN.seatings),
}


@pytest.mark.parametrize(
    ("shows", "column", "cell", "is_taken"),
    [
        ("mm", "x_mm", "-381.250", True),
        ("mm", "x_mm", "-381.25000", True),
        ("mm", "x_mm", "-381.2505", False),
        ("mm", "x_in", "-15.0098", True),
        ("mm", "x_in", "-15.00985", False),
        ("in", "x_in", "-15.0098", True),
        ("in", "x_in", "-15.00985", False),
        ("in", "x_mm", "-381.250", True),
        ("in", "x_mm", "-381.2505", False),
        # What this inch display shows, in millimetres, as the desk hands it out beside a metric machine.
        ("in", "x_mm", "-381.24892", True),
    ],
)
def test_a_value_that_no_such_control_shows_is_refused(
    shows: str, column: str, cell: str, is_taken: bool
) -> None:
    lines = [f"at_utc,machine,fixture,seating,{column}\n", f"2026-11-25,mill-1,vise-a,s1,{cell}\n"]
    (found,) = read_history(lines, SHOWS[shows])
    assert isinstance(found, HistoryRow) == is_taken
    if isinstance(found, RefusedLine):
        assert found.reason.code == "history.off_grid"
        assert cell in say(found.reason.code, found.reason.fields)


@pytest.mark.parametrize(
    ("text", "at_utc"),
    [
        ("2026-11-25T08:03Z", "2026-11-25T08:03:00.000Z"),
        ("2026-11-25 08:03:12.5+01:00", "2026-11-25T07:03:12.500Z"),
        ("9999-12-31", "9999-12-31T00:00:00.000Z"),
    ],
)
def test_a_time_is_taken_as_it_is_usually_written(text: str, at_utc: str) -> None:
    assert row(GOOD.replace("2026-11-25T08:03:12Z", text)).at_utc == at_utc


def test_a_quote_inside_a_cell_is_text() -> None:
    assert row(GOOD.replace("mara", 'ma"ra"')).person == 'ma"ra"'


def test_the_wrong_unit_in_a_header_is_seen_by_the_travel() -> None:
    code, fields = reason(GOOD, HEADER.replace("x_mm", "x_in"))
    assert code == "length.beyond_travel_other_unit"
    assert fields["other_unit"] == "mm"


def test_a_comma_that_can_be_read_in_two_ways_is_not_guessed() -> None:
    wide = Known({"mill-1": MachineLimits(dict.fromkeys("XYZ", (-(10**12), 10**12)))}, KNOWN.seatings)
    (found,) = read_history(
        [HEADER.replace(",", ";"), GOOD.replace(",", ";").replace("-381.250", "-381,250")], wide
    )
    assert isinstance(found, RefusedLine)
    assert found.reason.code == "length.ambiguous_comma"


def test_one_setup_brings_one_line() -> None:
    found = read(HEADER, GOOD, GOOD, GOOD.replace("old-1", "old-2"))
    assert [type(item).__name__ for item in found] == ["HistoryRow", "RefusedLine", "HistoryRow"]
    assert isinstance(found[1], RefusedLine)
    assert found[1].reason.code == "history.setup_twice"


def test_a_forgotten_quote_spoils_its_own_line_only() -> None:
    found = read(HEADER, GOOD.replace("mara", '"mara'), GOOD)
    assert [type(item).__name__ for item in found] == ["RefusedLine", "HistoryRow"]


def test_a_line_without_end_is_refused_and_fills_no_memory() -> None:
    endless = (b"a" * 100_000 for _ in range(200))

    def chunks() -> Iterator[bytes]:
        yield HEADER.encode()
        yield from endless
        yield b"\n" + GOOD.encode()

    tracemalloc.start()
    found = list(read_history(decode_lines(chunks()), KNOWN))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert isinstance(found[0], RefusedLine)
    assert found[0].reason.fields == {"most": LONGEST_LINE}
    assert isinstance(found[1], HistoryRow)
    assert peak < 5_000_000


def test_a_long_table_is_read_as_a_stream() -> None:
    lines = (f"2026-11-25,mill-1,vise-a,s2,mara,,-381.{n:06},,\n" for n in range(50_000))

    def table() -> Iterator[str]:
        yield HEADER
        yield from lines

    tracemalloc.start()
    count = sum(isinstance(item, HistoryRow) for item in read_history(table(), KNOWN))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 50_000
    assert peak < 200 * 50_000  # a fingerprint for each line, to know it again


@pytest.mark.parametrize(
    ("header", "error"),
    [
        ("", HistoryEmptyError),
        (",,\n", HistoryEmptyError),
        (HEADER.replace("x_mm", "x_cm"), HistoryColumnUnknownError),
        (HEADER.replace("x_mm", "x"), HistoryColumnUnknownError),
        (HEADER.replace("person", "operator"), HistoryColumnUnknownError),
        (HEADER.replace("x_mm", "y_in"), HistoryColumnTwiceError),
        (HEADER.replace("person", "setup"), HistoryColumnTwiceError),
        (HEADER.replace("seating,", ""), HistoryColumnMissingError),
        ("at_utc,machine,fixture,seating\n", HistoryColumnMissingError),
        (HEADER.replace("person", '"person'), HistoryColumnUnknownError),
    ],
)
def test_a_header_that_cannot_be_is_refused_at_once(header: str, error: type[Exception]) -> None:
    with pytest.raises(error):
        read(header, GOOD)


def test_the_dry_run_counts_and_takes_nothing() -> None:
    found = dry_run([HEADER, GOOD, GOOD.replace("old-1", "old-2").replace("s1", "s7")], KNOWN)
    assert (found.taken, found.by_fixture) == (1, {"vise-a": 1})
    assert [(one.line, one.reason.code) for one in found.refused] == [(3, "history.seating_unknown")]


def test_what_is_written_is_neutral_to_a_spreadsheet() -> None:
    evil = HistoryRow(
        2, "2026-11-25T08:03:12.000Z", "mill-1", "vise-a", "s1", '=HYPERLINK("x")', "+1;2", {"X": -1_000}
    )
    lines = list(write_history([evil], MM))
    assert lines[
        1
    ] == '2026-11-25T08:03:12.000Z,mill-1,vise-a,s1,"\'=HYPERLINK(""x"")",\'+1;2,-0.001,,,,\r\n'.replace(
        "'+1;2", '"\'+1;2"'
    )


names = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), max_size=12)
value = st.integers(-400_000, 0)


@given(names, names, st.lists(value, min_size=3, max_size=3), st.sampled_from([MM, INCH]))
def test_what_is_written_is_read_back_the_same(
    person: str, setup: str, steps: list[int], display: Display
) -> None:
    values = {axis: step * 1_000 for axis, step in zip("XYZ", steps, strict=True)}
    if display is INCH:
        values = {axis: number // 254 * 254 for axis, number in values.items()}
    before = HistoryRow(2, "2026-11-25T08:03:12.000Z", "mill-1", "vise-a", "s1", person, setup, values)
    (after,) = read_history(write_history([before], display), KNOWN)
    assert after == before


def table_of(*lines: str) -> list[HistoryRow | RefusedLine]:
    return list(read_history([HEADER, *(f"{line}\n" for line in lines)], KNOWN))


def test_the_same_line_twice_is_refused_without_a_name_too() -> None:
    first, second = table_of(*["2026-11-25,mill-1,vise-a,s2,mara,,-381.250,,"] * 2)
    assert isinstance(first, HistoryRow)
    assert second == RefusedLine(3, Finding("history.line_twice"))


def test_a_setup_that_was_exported_keeps_its_own_id() -> None:
    own = "9b2f8c1e-0000-4000-8000-00000000000a"
    (row,) = table_of(f"2026-11-25,mill-1,vise-a,s2,mara,{own},-381.250,,")
    assert isinstance(row, HistoryRow)
    assert row.past_id == own


def test_a_past_setup_has_the_same_id_whenever_it_is_read() -> None:
    ids = {table_of("2026-11-25,mill-1,vise-a,s2,mara,page 12,-381.250,,")[0].past_id for _ in range(2)}  # type: ignore[union-attr]
    assert len(ids) == 1


@pytest.mark.parametrize(
    ("cell", "found"),
    [("X: a chip", {"X": "a chip"}), ("X: a chip | Y: a burr", {"X": "a chip", "Y": "a burr"}), ("", {})],
)
def test_values_that_were_left_out_say_why(cell: str, found: dict[str, str]) -> None:
    header = "at_utc,machine,fixture,seating,x_mm,y_mm,left_out\n"
    (row,) = read_history([header, f"2026-11-25,mill-1,vise-a,s2,-381.250,-152.400,{cell}\n"], KNOWN)
    assert isinstance(row, HistoryRow)
    assert row.left_out == found


@pytest.mark.parametrize("cell", ["a chip", "Z: not touched", "X:", "Q: x"])
def test_a_reason_without_its_axis_is_refused(cell: str) -> None:
    header = "at_utc,machine,fixture,seating,x_mm,left_out\n"
    (line,) = read_history([header, f"2026-11-25,mill-1,vise-a,s2,-381.250,{cell}\n"], KNOWN)
    assert isinstance(line, RefusedLine)
    assert line.reason.code == "history.left_out_unreadable"


def test_a_time_ahead_of_now_and_a_fixture_of_another_machine_are_refused() -> None:
    limits = {name: replace(one, fixtures=("vise-b", "vise-c")) for name, one in KNOWN.machines.items()}
    known = replace(KNOWN, latest_utc="2026-11-24T00:00:00.000Z")
    line = "2026-11-25,mill-1,vise-a,s2,mara,,-381.250,,\n"
    (ahead,) = read_history([HEADER, line], known)
    (elsewhere,) = read_history([HEADER, line], replace(KNOWN, machines=limits))
    assert [one.reason.code for one in (ahead, elsewhere) if isinstance(one, RefusedLine)] == [
        "history.time_ahead",
        "history.fixture_elsewhere",
    ]
    assert all(
        say(one.reason.code, one.reason.fields) for one in (ahead, elsewhere) if isinstance(one, RefusedLine)
    )
