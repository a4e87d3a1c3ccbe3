"""Budgets, checks of probes and past values:
each changed by a lead, on the ledger, and felt by the next sheet.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.kept import kept_values
from tests.kit.shop import PINS
from tests.kit.walk import MOST_ANSWERS
from webapp.domain.budget.correlated import CorrelationImpossibleError
from webapp.domain.budget.lead_correlations import LeadCorrelation
from webapp.domain.budget.lines import LeadLine
from webapp.domain.probe.probe_health import CheckTyped
from webapp.services.errors import (
    CareRefused,
    NoSuchLine,
    NoSuchProbe,
    NoSuchUpload,
    NothingToImport,
    ReasonMissing,
    RoleMissing,
)
from webapp.services.numbers import budgeting, past_values, probing, staged_tables, written_out
from webapp.services.setups import answering, pacing
from webapp.store.repositories import numbers

WIDE = LeadLine("own-1", "Chips", None, 30_000, "rectangular", None, "Looked at for a month")
HEADER = "at_utc,machine,fixture,seating,person,x_mm,y_mm,z_mm\n"
LOG = HEADER + "".join(
    f"2026-11-{day:02},mill-1,vise-a,vise-a-1,mara,-381.2{day},-152.4{day},-300.0{day}\n"
    for day in range(10, 20)
)
ENDS = {"x_low": "-403.004", "x_high": "-358.996", "y_low": "-174.004", "y_high": "-129.996"}
RING = CheckTyped("ring", "50", "", "diametral", ENDS, "")


def usual(house: House, axis: str = "X") -> dict[str, Any]:
    house.clock.forward(minutes=2)
    sheet = json.loads(house.sheet()[1])
    return {
        **next(one["usual"] for one in sheet["axes"] if one["axis"] == axis),
        "check": sheet["probe"]["check"],
    }


def changes(house: House, kind: str) -> list[dict[str, Any]]:
    with house.store.reading():
        return [json.loads(row["text"]) for row in house.store.ledger.changes(kind=kind)]


def take_in(house: House, text: str, by: str = "ines") -> past_values.Looked:
    return past_values.take_in(house.store, lambda: [text.encode()], "log.csv", by, house.clock())


def test_a_leads_line_widens_the_next_sheet_and_stands_on_the_ledger(house: House) -> None:
    take_in(house, HEADER + LOG.splitlines(keepends=True)[1])
    before = usual(house)["ask_nm"]
    budgeting.set_line(house.store, "mill-1", WIDE, "Never counted before.", "ines", house.clock())
    after = usual(house)["ask_nm"]
    assert after > before
    (entry,) = changes(house, "budget.line_set")
    assert (entry["by"], entry["data"]["reason"], entry["data"]["line"]["value_nm"]) == (
        "ines", "Never counted before.", 30_000,
    )  # fmt: skip
    budgeting.take_back(house.store, "mill-1", "own-1", None, "Cleaned since.", "ines", house.clock())
    assert usual(house)["ask_nm"] == before


TOGETHER = LeadCorrelation("probe", "seat", None, "0.8")


def test_lines_that_hang_together_widen_the_next_sheet_and_stand_on_the_ledger(house: House) -> None:
    take_in(house, HEADER + LOG.splitlines(keepends=True)[1])
    budgeting.set_line(
        house.store, "mill-1", replace(WIDE, id="seat", name="budget.seat"), "Seen.", "ines", house.clock()
    )
    budgeting.set_line(
        house.store, "mill-1", replace(WIDE, id="probe", name="budget.probe"), "Seen.", "ines", house.clock()
    )
    apart, before = budgeting.machine_budget(house.store, "mill-1", house.clock()), usual(house)["ask_nm"]
    budgeting.set_correlation(house.store, "mill-1", TOGETHER, "One certificate.", "ines", house.clock())
    found = budgeting.machine_budget(house.store, "mill-1", house.clock())
    both = 2 * 0.8 * (30_000**2 / 3)
    assert found.axes[0].result.combined_nm ** 2 == pytest.approx(
        apart.axes[0].result.combined_nm ** 2 + both
    )
    assert usual(house)["ask_nm"] > before
    (entry,) = changes(house, "budget.correlation_set")
    assert entry["data"]["correlation"] == TOGETHER.as_plain()
    budgeting.set_confidence(house.store, "mill-1", "0.99", "Stricter.", "ines", house.clock())
    assert budgeting.machine_budget(house.store, "mill-1", house.clock()).correlations == (TOGETHER,)
    budgeting.take_correlation_back(
        house.store, "mill-1", TOGETHER.pair, "Two certificates.", "ines", house.clock()
    )
    assert budgeting.machine_budget(house.store, "mill-1", house.clock()).correlations == ()
    assert usual(house)["ask_nm"] == before


def test_refused_words_about_lines_leave_nothing(house: House) -> None:
    now = house.clock()
    with pytest.raises(RoleMissing):
        budgeting.set_correlation(house.store, "mill-1", TOGETHER, "x", "mara", now)
    with pytest.raises(ReasonMissing):
        budgeting.set_correlation(house.store, "mill-1", TOGETHER, "", "ines", now)
    with pytest.raises(NoSuchLine):
        budgeting.set_correlation(house.store, "mill-1", replace(TOGETHER, other="own-9"), "x", "ines", now)
    with pytest.raises(NoSuchLine):
        budgeting.take_correlation_back(house.store, "mill-1", TOGETHER.pair, "x", "ines", now)
    for one, other, coefficient in (("axis", "probe", "0.6"), ("axis", "seat", "0.6")):
        budgeting.set_correlation(
            house.store, "mill-1", LeadCorrelation(one, other, None, coefficient), "x", "ines", now
        )
    with pytest.raises(CorrelationImpossibleError):
        budgeting.set_correlation(
            house.store, "mill-1", replace(TOGETHER, coefficient="-0.9"), "x", "ines", now
        )
    assert len(budgeting.machine_budget(house.store, "mill-1", now).correlations) == 2


def test_a_monte_carlo_run_is_told_by_its_seed(house: House) -> None:
    (axis, *_) = budgeting.machine_budget(house.store, "mill-1", house.clock()).axes
    first, other = (budgeting.monte_carlo(axis.result, "X", seed) for seed in (1, 2))
    assert first.high_nm == pytest.approx(axis.result.expanded_nm, rel=0.2)
    assert first != other
    budgeting.monte_carlo.cache_clear()
    assert budgeting.monte_carlo(axis.result, "X", 1) == first


def test_the_budget_of_another_machine_stays_as_it_is(house: House) -> None:
    budgeting.set_line(house.store, "mill-1", WIDE, "Chips.", "ines", house.clock())
    names = [
        len(budgeting.machine_budget(house.store, one, house.clock()).axes[0].lines)
        for one in ("mill-1", "mill-2")
    ]
    assert names == [6, 5]


def test_refused_budget_changes_leave_nothing(house: House) -> None:
    now = house.clock()
    with pytest.raises(RoleMissing):
        budgeting.set_line(house.store, "mill-1", WIDE, "x", "mara", now)
    with pytest.raises(ReasonMissing):
        budgeting.set_line(house.store, "mill-1", WIDE, " ", "ines", now)
    with pytest.raises(NoSuchLine):
        budgeting.set_line(house.store, "mill-1", replace(WIDE, id="resolution"), "x", "ines", now)
    with pytest.raises(NoSuchLine):
        budgeting.take_back(house.store, "mill-1", "own-9", None, "x", "ines", now)
    assert changes(house, "budget.line_set") == []
    assert budgeting.machine_budget(house.store, "mill-1", now).changes == ()


def test_an_overdue_check_is_on_the_sheet_and_widens_until_the_probe_is_checked(house: House) -> None:
    take_in(house, HEADER + LOG.splitlines(keepends=True)[1])
    before = usual(house)
    assert before["check"] is None
    probing.set_care(house.store, "probe-1", 30, 1_000, "Once a month.", "ines", house.clock())
    overdue = usual(house)
    assert overdue["check"] == {"due_at_utc": None, "overdue": True}
    assert overdue["ask_nm"] > before["ask_nm"]
    probing.keep_check(house.store, "probe-1", "mill-1", RING, "", "ines", house.clock())
    checked = usual(house)
    assert checked["check"]["overdue"] is False
    assert checked["ask_nm"] == before["ask_nm"]
    house.clock.forward(days=32)
    assert usual(house)["check"]["overdue"] is True
    assert [one["data"]["found"]["effective_radius_nm"] for one in changes(house, "probe.checked")] == [
        2_996_000
    ]


def test_refused_care_and_checks(house: House) -> None:
    now = house.clock()
    for days, factor in ((0, 100), (30, 99), (4_000, 100)):
        with pytest.raises(CareRefused):
            probing.set_care(house.store, "probe-1", days, factor, "x", "ines", now)
    with pytest.raises(NoSuchProbe):
        probing.set_care(house.store, "probe-9", 30, 100, "x", "ines", now)
    with pytest.raises(RoleMissing):
        probing.keep_check(house.store, "probe-1", "mill-1", RING, "", "mara", now)
    assert probing.health(house.store, "probe-1", now).checks == ()


def test_a_paper_log_gives_a_shop_its_lines_on_the_first_day(house: House) -> None:
    assert usual(house)["centre_nm"] is None
    looked = take_in(house, LOG)
    assert (looked.setups, looked.values, looked.refused) == (10, 30, 0)
    found = usual(house)
    assert found["values"] == 10
    assert found["ask_nm"] is not None
    (entry,) = changes(house, "history.imported")
    assert (entry["data"]["setups"], entry["data"]["sha256"]) == (10, looked.sha256)


def test_looking_changes_nothing_and_names_every_refused_line(house: House) -> None:
    bad = (
        "2026-11-20,mill-1,vise-a,vise-a-9,mara,-381.2,,\n"
        '2026-11-20,mill-1,vise-a,vise-a-1,mara,"=1+1",,\n'
        "2031-01-01,mill-1,vise-a,vise-a-1,mara,-381.2,,\n"
    )
    looked = past_values.look(house.store, lambda: [(LOG + bad).encode()], house.clock())
    assert (looked.setups, looked.refused) == (10, 3)
    assert [one.reason.code for one in looked.lines] == [
        "history.seating_unknown",
        "history.formula",
        "history.time_ahead",
    ]
    assert past_values.imports(house.store) == []
    assert usual(house)["centre_nm"] is None


def test_the_same_file_twice_is_refused_and_changes_nothing(house: House) -> None:
    take_in(house, LOG)
    with pytest.raises(NothingToImport):
        take_in(house, LOG)
    assert len(past_values.imports(house.store)) == 1
    with pytest.raises(RoleMissing):
        take_in(house, LOG.replace("-381", "-380"), by="mara")


def test_what_is_exported_is_known_again_and_comes_back_the_same_elsewhere(house: House) -> None:
    walk = house.signed_off()
    take_in(house, LOG)
    with house.store.writing():
        first = house.store.numbers.kept_of(walk.setup)[0]
        house.store.kept.leave_out(walk.setup, first["axis"], "a | chip")
    text = "".join(written_out.export(house.store))
    assert text.count("\r\n") == 12
    assert walk.setup in text
    assert "X: a / chip" in text
    with pytest.raises(NothingToImport):
        take_in(house, text)


def in_a_view(house: House) -> bool:
    return house.store._database._connection().in_transaction


def test_a_table_is_written_and_read_without_a_view_of_the_store_being_held(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A view that is held keeps everybody from writing:
    none is while a line is written or a piece is read.
    """
    monkeypatch.setattr(numbers, "AT_A_TIME", 7)  # ends within a setup
    take_in(house, LOG)
    statements: list[str] = []
    house.store._database._connection().set_trace_callback(statements.append)
    held = [in_a_view(house) for _ in written_out.export(house.store)]
    house.store._database._connection().set_trace_callback(None)
    assert held == [False] * 11
    assert sum(one.startswith("BEGIN") for one in statements) > 5

    def source() -> Iterator[bytes]:
        for line in LOG.splitlines(keepends=True):
            held.append(in_a_view(house))
            yield line.encode()

    past_values.look(house.store, source, house.clock())
    assert len(held) > 20
    assert not any(held)


INCHES = "2026-11-20,mill-1,vise-a,vise-a-1,mara,-15.009,-6.000,-11.811\n"
FAR = "2026-11-21,mill-1,vise-a,vise-a-1,mara,-381.214,-162.414,-300.014\n"


def look(house: House, text: str, **more: Any) -> past_values.Looked:
    return past_values.look(house.store, lambda: [text.encode()], house.clock(), **more)


@pytest.mark.parametrize("kept_first", [True, False])
def test_inches_in_columns_of_millimetres_do_not_move_the_usual(house: House, kept_first: bool) -> None:
    if kept_first:
        take_in(house, LOG)
        text, row = HEADER + INCHES + FAR, 2
    else:
        text, row = LOG + INCHES + FAR, 12
    told: list[Any] = []
    looked = look(house, text, tell=told.append)
    assert [(one.line, one.reason.code.rpartition("_")[0]) for one in looked.lines] == [
        (row, "history.other_unit")
    ]
    assert [(one.line, len(one.reasons), one.taken) for one in looked.asked_lines] == [(row + 1, 1, False)]
    assert [one.line for one in told] == [row, row + 1]
    assert (looked.refused, looked.asked, looked.setups) == (1, 1, 0 if kept_first else 10)
    if kept_first:
        with pytest.raises(NothingToImport):
            take_in(house, text)
    else:
        take_in(house, text)
    assert abs(usual(house)["centre_nm"] + 381_214_500) <= 1_000
    assert usual(house, "Y")["values"] == 10


def test_an_asked_line_is_taken_where_the_lead_names_it_and_the_ledger_keeps_which(house: House) -> None:
    take_in(house, LOG)
    text = HEADER + FAR + FAR.replace("-21,", "-22,")
    looked = past_values.take_in(
        house.store, lambda: [text.encode()], "log.csv", "ines", house.clock(), all_the_same={3}
    )
    assert (looked.setups, looked.asked, looked.asked_taken) == (1, 2, 1)
    data, first = (one["data"] for one in changes(house, "history.imported"))
    assert (data["asked"], data["taken_all_the_same"], data["lines_all_the_same"]) == (2, 1, [3])
    assert look(house, text, all_the_same=past_values.EVERY).asked_taken == 1
    assert "asked" not in first


def test_a_line_cannot_name_a_setup_of_this_shop(house: House) -> None:
    walk = house.signed()  # not signed off: nothing of it is kept yet
    header = HEADER.replace("person,", "person,setup,")
    line = f"2026-11-20,mill-1,vise-a,vise-a-1,mara,{walk.setup},-381.2,,\n"
    looked = look(house, header + line)
    assert [one.reason.code for one in looked.lines] == ["history.setup_of_this_store"]
    assert looked.lines[0].reason.fields == {"setup": walk.setup}
    assert looked.setups == 0


def test_a_tablet_cannot_begin_a_setup_under_an_id_that_was_imported(house: House) -> None:
    walk = house.walk().start()
    header = HEADER.replace("person,", "person,setup,")
    take_in(house, header + f"2026-11-20,mill-1,vise-a,vise-a-1,mara,{walk.setup},-381.2,,\n")
    receipt = house.accept(walk.parts)[0]
    assert (receipt["outcome"], receipt["code"]) == ("refused", "intake.setup_imported")
    assert receipt["fields"] == {"setup": walk.setup}
    with house.store.reading():
        assert house.store.setups.setup(walk.setup) is None
        assert house.store.events.set_aside_by_id([receipt["event"]])
    another = house.walk().start()
    assert house.accept(another.parts)[0]["outcome"] == "accepted"


def test_a_time_at_the_end_of_the_calendar_is_a_refused_line_and_no_crash(house: House) -> None:
    looked = look(house, HEADER + "9999-12-31T23:59:59-12:00,mill-1,vise-a,vise-a-1,mara,-381.2,,\n" + FAR)
    assert [one.reason.code for one in looked.lines] == ["history.time_unreadable"]
    assert looked.setups == 1


def test_a_value_between_two_steps_of_the_display_is_refused(house: House) -> None:
    looked = look(house, HEADER + "2026-11-20,mill-1,vise-a,vise-a-1,mara,-381.2105,,\n")
    assert [one.reason.code for one in looked.lines] == ["history.off_grid"]


def test_an_imported_setup_says_where_it_comes_from(house: House) -> None:
    take_in(house, LOG)
    with house.store.reading():
        ids = {row["setup"] for row in kept_values(house.store, "vise-a")}
    one = past_values.past_setup(house.store, min(ids))
    assert [row["axis"] for row in one] == ["X", "Y", "Z"]
    assert {row["person"] for row in one} == {"mara"}
    with pytest.raises(NoSuchUpload):
        staged_tables.staged(house.store, "../../etc/passwd")


def slow_setup(house: House) -> str:
    """A setup of somebody who takes a while at each step,
    not so long that the probe's input is old; signed off.
    """
    walk = house.walk().start()
    elapsed = walk.events[0]["elapsed_ms"]
    for _ in range(MOST_ANSWERS):
        if walk.step["kind"] == "sign":
            break
        elapsed += 10_000
        type_, data = walk.answers.answer(walk.step, walk.fold.result(), walk.clock.text)
        walk.event(type_, data, walk.step["id"], elapsed_ms=elapsed)
    walk.sign(PINS["mara"], house.keyring)
    house.accept(walk.parts)
    for question in answering.questions(house.store):
        answering.answer(house.store, question["id"], "ines", "go_on", "Fine.", house.clock())
    house.sign_off(walk.setup)
    return walk.setup


def test_steps_that_nobody_reads_are_marked_beside_the_shops_pace(house: House) -> None:
    take_in(house, LOG)
    calm = [slow_setup(house) for _ in range(8)]
    walk = house.walk().start()
    while walk.step["kind"] == "caution":
        walk.event(
            "caution.read",
            {"caution": walk.step["caution"]["id"]},
            walk.step["id"],
            elapsed_ms=walk.events[-1]["elapsed_ms"] + 40,
        )
    house.accept(walk.parts)
    with house.store.reading():
        pace, usual_pace = (pacing.setup_pace(house.store, one) for one in (walk.setup, calm[0]))
    assert [step["is_marked"] for step in pace] == [True] * 3
    assert (pacing.marked(pace) or {})["code"] == "pace.marked"
    assert pacing.marked(usual_pace) is None
