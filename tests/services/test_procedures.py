"""Drafts of procedures: of two who change one the first counts, and what is published is on the ledger."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from tests.kit.house import House
from tests.kit.shop import PINS, load_shop
from tests.rules.example_shop import procedure_of_levels
from webapp.domain.plain.errors import Finding
from webapp.domain.plain.levels import BESIDE
from webapp.domain.procedure import editing
from webapp.domain.procedure.procedure import Procedure, ProcedureRefusedError, Revision
from webapp.domain.record.facts import record_facts
from webapp.domain.shop.fitted_machine import Place
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.shop_file import ShopFileError
from webapp.services.audit import auditing
from webapp.services.errors import (
    DraftBehind,
    DraftChanged,
    NoSuchFixture,
    NothingChanged,
    NotLookedAt,
    ProcedureFallsShort,
    ReasonMissing,
    RoleMissing,
)
from webapp.services.people import rights
from webapp.services.setups import recording
from webapp.services.sheets.holding_here import ShortAt, must_hold
from webapp.services.shop import drafts_behind, items, procedures, publishing, retiring
from webapp.services.shop.as_file import shop_of
from webapp.services.shop.items import Wanted
from webapp.services.shop.loading import load
from webapp.store import Store
from webapp.words import say

WORDS = "Wipe the jaw with a clean cloth."

HERE = Place("mill-1", "vise-a")


def in_other_words(procedure: Procedure, do: str = WORDS) -> Procedure:
    return editing.with_step(procedure, replace(editing.step_of(procedure, "vise.wipe"), do=do))


def publish(store: Store, whose: str, seen: str, note: str, by: str, now: datetime) -> Revision:
    """Look at what publishing does, and publish that."""
    looked = publishing.look(store, whose, seen, by).digest
    return publishing.publish(store, whose, seen, looked, note, by, now)


def retire(house: House, reason: str) -> None:
    """Look at what taking the vise's own procedure out of use does, and do it."""
    found = retiring.look(house.store, "vise-a")
    assert found is not None
    retiring.retire(house.store, "vise-a", found.seen, reason, "ines", house.clock())


def published(house: House, whose: str = "shop", do: str = WORDS) -> str:
    draft = procedures.begin(house.store, whose, "ines", house.clock())
    draft = procedures.edit(
        house.store, whose, draft.seen, lambda one: in_other_words(one, do), "ines", house.clock()
    )
    return publish(house.store, whose, draft.seen, "Cloth.", "ines", house.clock()).hash


def step_on_sheet(house: House, machine: str) -> str:
    sheet = json.loads(house.sheet(machine)[1])
    steps = [step for stage in sheet["procedure"]["stages"] for step in stage["steps"]]
    return str(next(step["do"] for step in steps if step["id"] == "vise.wipe"))


def test_a_published_draft_is_on_the_next_sheet_and_on_the_ledger_with_old_new_who_and_why(
    house: House,
) -> None:
    before = procedures.used(house.store, "shop")
    revision = published(house)
    assert step_on_sheet(house, "mill-1") == WORDS
    (past, *_) = procedures.past_revisions(house.store)
    assert (past.by, past.note, past.revision, past.whose) == ("ines", "Cloth.", revision, "shop")
    (change,) = past.changes
    assert change.fields["old"] == editing.step_of(before.procedure, "vise.wipe").do
    assert change.fields["new"] == WORDS
    assert auditing.audit(house.store) == []


def test_a_setup_goes_on_with_the_revision_it_began_with(house: House) -> None:
    walk = house.walk().start().until("slot")
    old = walk.sheet["procedure"]["revision"]
    assert published(house) != old
    walk.until("sign").sign(PINS["mara"], house.keyring)
    receipts = house.accept(walk.parts)
    assert receipts[-1]["signature"] == "verified"
    assert walk.sheet["procedure"]["revision"] == old


def test_a_shop_file_that_is_loaded_again_leaves_what_was_published_at_the_desk(house: House) -> None:
    published(house)
    load_shop(house.store, house.keyring, house.clock)
    assert step_on_sheet(house, "mill-1") == WORDS


def test_a_fixture_has_a_procedure_of_its_own_until_it_is_taken_back(house: House) -> None:
    theirs = step_on_sheet(house, "mill-2")
    published(house, "vise-a")
    assert step_on_sheet(house, "mill-1") == WORDS
    assert step_on_sheet(house, "mill-2") == theirs
    retire(house, "One for all again.")
    assert step_on_sheet(house, "mill-1") == theirs
    with pytest.raises(NoSuchFixture):
        procedures.begin(house.store, "vise-nowhere", "ines", house.clock())


def test_of_two_tabs_the_second_is_told_who_changed_the_draft_and_stores_nothing(house: House) -> None:
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    procedures.edit(house.store, "shop", draft.seen, in_other_words, "tomas", house.clock())
    for late in (
        lambda: procedures.edit(
            house.store, "shop", draft.seen, lambda one: in_other_words(one, "Late."), "ines", house.clock()
        ),
        lambda: publish(house.store, "shop", draft.seen, "Late.", "ines", house.clock()),
        lambda: procedures.discard(house.store, "shop", draft.seen, "ines", house.clock()),
    ):
        with pytest.raises(DraftChanged) as told:
            late()
        assert told.value.fields["by"] == "tomas"
    kept = procedures.draft(house.store, "shop").procedure
    assert editing.step_of(kept, "vise.wipe").do == WORDS


def test_a_draft_without_what_a_record_proves_is_refused_with_each_reason_and_stays(house: House) -> None:
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    draft = procedures.edit(
        house.store,
        "shop",
        draft.seen,
        lambda one: editing.without_step(one, "slot.own"),
        "ines",
        house.clock(),
    )
    with pytest.raises(ProcedureRefusedError) as refused:
        publish(house.store, "shop", draft.seen, "Shorter.", "ines", house.clock())
    assert "procedure.no_slot" in [one.code for one in refused.value.faults]
    assert procedures.draft(house.store, "shop").seen == draft.seen


def test_only_a_lead_publishes_with_a_note_something_that_differs_and_is_not_behind(house: House) -> None:
    with pytest.raises(RoleMissing):
        procedures.begin(house.store, "shop", "mara", house.clock())
    same = procedures.begin(house.store, "shop", "ines", house.clock())
    with pytest.raises(NothingChanged):
        publish(house.store, "shop", same.seen, "Nothing.", "ines", house.clock())
    with pytest.raises(ReasonMissing):
        publishing.publish(house.store, "shop", same.seen, "", " ", "ines", house.clock())
    behind = procedures.begin(house.store, "vise-a", "ines", house.clock())
    behind = procedures.edit(house.store, "vise-a", behind.seen, in_other_words, "ines", house.clock())
    published(house, do="Wipe it.")
    with pytest.raises(DraftBehind):
        publish(house.store, "vise-a", behind.seen, "Late.", "ines", house.clock())
    procedures.discard(house.store, "vise-a", behind.seen, "ines", house.clock())
    assert procedures.begin(house.store, "vise-a", "ines", house.clock()).base != behind.base


def changed(procedure: Procedure, step: str, **changes: Any) -> Procedure:
    return editing.with_step(procedure, replace(editing.step_of(procedure, step), **changes))


def over_behind_a_door(procedure: Procedure) -> Procedure:
    """The ball is brought over the face of X where a door is interlocked, and nowhere else."""
    return changed(procedure, "x.over", when="door:interlock")


def with_door(house: House, machine: str, door: str) -> Wanted:
    found = items.found(house.store, "machine", machine)
    assert isinstance(found.item, Machine)
    return Wanted("machine", machine, replace(found.item, door=door), found.version)


def keep(house: House, wanted: Wanted) -> None:
    looked = items.look(house.store, wanted, "ines", house.clock()).version
    items.keep(house.store, wanted, "It has another guard.", "ines", house.clock(), looked)


def publish_changed(house: House, whose: str, act: Callable[[Procedure], Procedure]) -> str:
    draft = procedures.begin(house.store, whose, "ines", house.clock())
    draft = procedures.edit(house.store, whose, draft.seen, act, "ines", house.clock())
    return publish(house.store, whose, draft.seen, "Shorter.", "ines", house.clock()).hash


def test_a_procedure_that_proves_nothing_at_one_machine_is_not_published_and_the_machine_is_named(
    house: House,
) -> None:
    keep(house, with_door(house, "mill-2", "guard"))
    in_use = procedures.used(house.store, "shop").hash
    with pytest.raises(ProcedureFallsShort) as refused:
        publish_changed(house, "shop", over_behind_a_door)
    assert refused.value.fields["machine"] == "Dunlin"
    assert [one.code for one in refused.value.faults] == ["procedure.search_without_over"]
    assert procedures.used(house.store, "shop").hash == in_use
    assert publish_changed(house, "vise-a", over_behind_a_door), "no machine with this vise has another door"


def test_a_machine_is_not_changed_into_one_at_which_its_procedure_proves_nothing(house: House) -> None:
    publish_changed(house, "shop", over_behind_a_door)
    wanted = with_door(house, "mill-1", "none")
    with pytest.raises(ProcedureFallsShort):
        items.look(house.store, wanted, "ines", house.clock())
    with pytest.raises(ProcedureFallsShort) as refused:
        keep(house, wanted)
    assert refused.value.fields == {"machine": "Plover", "count": 1}
    assert items.found(house.store, "machine", "mill-1").version == wanted.over
    found = items.found(house.store, "machine", "mill-1")
    assert isinstance(found.item, Machine)
    other = replace(found.item, name="Plover, by the window")
    keep(house, Wanted("machine", "mill-1", other, found.version))


def hands_at(*steps: str) -> tuple[Finding, ...]:
    return tuple(Finding("procedure.hands_with_probe", {"step": step}) for step in steps)


def test_one_hand_inside_from_before_lets_no_other_in() -> None:
    before = [ShortAt(HERE, "Plover", hands_at("x.lower"))]
    must_hold(before, before)
    with pytest.raises(ProcedureFallsShort) as refused:
        must_hold([ShortAt(HERE, "Plover", hands_at("x.lower", "y.lower"))], before)
    assert refused.value.faults == hands_at("y.lower")


def test_what_did_not_hold_before_may_become_less_of_it() -> None:
    long, shorter = (
        ShortAt(
            Place("mill-1", "vise-a"),
            "Plover",
            (Finding("procedure.do_too_long", {"step": "x.over", "words": words}),),
        )
        for words in (30, 29)
    )
    must_hold([shorter], [long])


@pytest.mark.parametrize("dry_run", [True, False])
def test_a_shop_file_makes_no_machine_at_which_its_procedure_proves_nothing(
    house: House, *, dry_run: bool
) -> None:
    publish_changed(house, "shop", over_behind_a_door)
    shop, size = shop_of(house.store), tree_size(house)
    open_ones = replace(shop, machines=tuple(replace(one, door="none") for one in shop.machines))
    with pytest.raises(ShopFileError) as refused:
        load(house.store, open_ones, "ines", house.clock(), lambda _: "", house.keyring, dry_run=dry_run)
    assert [(one.code, one.fields["place"]) for one in refused.value.faults] == [
        ("procedure.search_without_over", f"machine “{one.id}”") for one in shop.machines
    ]
    assert (shop_of(house.store), tree_size(house)) == (shop, size)


def test_a_shop_file_is_not_refused_for_what_did_not_hold_before(house: House) -> None:
    publish_changed(house, "shop", over_behind_a_door)
    with house.store.writing():
        row = house.store.shop.item("machine", "mill-1")
        assert row
        house.store.shop.put("machine", "mill-1", {**row, "door": "none"})
    shop = shop_of(house.store)
    renamed = replace(shop, machines=tuple(replace(one, name=f"{one.name} II") for one in shop.machines))
    changes = load(house.store, renamed, "ines", house.clock(), lambda _: "", house.keyring)
    assert {one["type"] for one in changes} == {"machine.changed"}


def tree_size(house: House) -> int:
    with house.store.reading():
        return house.store.ledger.size()


def test_a_fixture_keeps_its_own_procedure_where_the_shop_s_would_prove_nothing(house: House) -> None:
    publish_changed(house, "vise-a", in_other_words)
    keep(house, with_door(house, "mill-1", "none"))
    publish_changed(house, "shop", over_behind_a_door)
    with pytest.raises(ProcedureFallsShort) as refused:
        retire(house, "One for all.")
    assert refused.value.fields["machine"] == "Plover"
    assert step_on_sheet(house, "mill-1") == WORDS


def counted(house: House) -> dict[str, int]:
    with house.store.reading():
        return house.store.sheets.sheet_versions()


def test_a_draft_counts_for_no_sheet_until_it_is_published(house: House) -> None:
    before = counted(house)
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    procedures.edit(house.store, "shop", draft.seen, in_other_words, "ines", house.clock())
    seen = procedures.draft(house.store, "shop").seen
    procedures.discard(house.store, "shop", seen, "ines", house.clock())
    assert counted(house) == before
    published(house)
    assert counted(house)["shop"] > before["shop"]


def drafted(house: House, do: str) -> procedures.Draft:
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    return procedures.edit(
        house.store, "shop", draft.seen, lambda one: in_other_words(one, do), "ines", house.clock()
    )


def test_what_is_published_is_what_was_looked_at(house: House) -> None:
    draft = drafted(house, WORDS)
    look = publishing.look(house.store, "shop", draft.seen, "ines")
    assert [one.fields["new"] for one in look.changes] == [WORDS]
    assert look.machines == ("Plover", "Dunlin")
    for looked in ("", "0" * 64):
        with pytest.raises(NotLookedAt):
            publishing.publish(house.store, "shop", draft.seen, looked, "Cloth.", "ines", house.clock())
    keep(house, with_door(house, "mill-2", "guard"))
    with pytest.raises(NotLookedAt):
        publishing.publish(house.store, "shop", draft.seen, look.digest, "Cloth.", "ines", house.clock())
    assert procedures.draft(house.store, "shop").seen == draft.seen
    again = publishing.look(house.store, "shop", draft.seen, "ines")
    assert again.changes == look.changes
    publishing.publish(house.store, "shop", draft.seen, again.digest, "Cloth.", "ines", house.clock())
    assert step_on_sheet(house, "mill-1") == WORDS


def test_a_draft_that_is_behind_is_told_what_is_in_use_and_goes_on_from_it_whole(house: House) -> None:
    draft = procedures.begin(house.store, "vise-a", "ines", house.clock())
    draft = procedures.edit(house.store, "vise-a", draft.seen, in_other_words, "ines", house.clock())
    assert drafts_behind.behind(house.store, "vise-a", draft) is None
    in_use = publish_changed(house, "shop", lambda one: changed(one, "vise.wipe", why="Chips lift the jaw."))
    with pytest.raises(DraftBehind) as told:
        publishing.look(house.store, "vise-a", draft.seen, "ines")
    assert (told.value.fields["by"], told.value.fields["revision"]) == ("ines", in_use[:12])
    found = drafts_behind.behind(house.store, "vise-a", draft)
    assert found is not None
    assert (found.revision.hash, found.note) == (in_use, "Shorter.")
    assert [one.fields["field"] for one in found.meanwhile or ()] == ["why"]
    assert [one.fields["field"] for one in found.mine or ()] == ["do"]
    with pytest.raises(NotLookedAt):
        drafts_behind.take_over(house.store, "vise-a", draft.seen, draft.base, "ines", house.clock())
    with pytest.raises(RoleMissing):
        drafts_behind.take_over(house.store, "vise-a", draft.seen, in_use, "mara", house.clock())
    taken = drafts_behind.take_over(house.store, "vise-a", draft.seen, in_use, "ines", house.clock())
    assert (taken.procedure, taken.base, taken.seen) == (draft.procedure, in_use, draft.seen)
    look = publishing.look(house.store, "vise-a", taken.seen, "ines")
    assert [one.fields["field"] for one in look.changes] == ["do", "why"], "what it undoes is shown"


def test_a_procedure_goes_out_of_use_only_as_it_was_looked_at(house: House) -> None:
    publish_changed(house, "vise-a", in_other_words)
    look = retiring.look(house.store, "vise-a")
    assert look is not None
    assert [one.fields["old"] for one in look.changes] == [WORDS]
    assert look.under_way == ()
    walk = house.walk().start()
    house.accept(walk.parts)
    for seen in ("", look.seen):
        with pytest.raises(NotLookedAt):
            retiring.retire(house.store, "vise-a", seen, "One for all.", "ines", house.clock())
    again = retiring.look(house.store, "vise-a")
    assert again is not None
    assert [(one.setup, one.person, one.machine) for one in again.under_way] == [
        (walk.setup, "mara", "mill-1")
    ]
    house.walk().start().until("slot")
    assert retiring.look(house.store, "vise-a") == again, "what no server has heard of changes nothing"
    retiring.retire(house.store, "vise-a", again.seen, "One for all.", "ines", house.clock())
    assert retiring.look(house.store, "vise-a") is None
    assert retiring.look(house.store, "shop") is None
    assert auditing.audit(house.store) == []


def test_the_sheet_has_each_person_s_steps_and_the_record_tells_who_was_there(house: House) -> None:
    """Mara sets up with a lead beside from here on, Ivo alone; both by one sheet."""
    rights.authorise(house.store, "mara", "mill-1", None, "ines", house.clock(), level=BESIDE)
    draft = procedures.begin(house.store, "shop", "ines", house.clock())
    draft = procedures.edit(
        house.store, "shop", draft.seen, lambda _: procedure_of_levels(), "ines", house.clock()
    )
    publish(house.store, "shop", draft.seen, "More for who learns.", "ines", house.clock())
    other = house.walk("ivo").start()
    learner = house.walk("mara").start()
    assert learner.sheet_hash == other.sheet_hash
    for walk, own, anothers in ((learner, "vise.tell", "vise.note"), (other, "vise.note", "vise.tell")):
        steps = walk.fold.result()["steps"]
        assert own in steps
        assert anothers not in steps
    learner.until("sign").sign(PINS["mara"], house.keyring)
    receipts = house.accept(other.parts)
    assert {one["outcome"] for one in receipts} == {"accepted"}
    house.answer_all("First value here.")
    house.sign_off(learner.setup)
    assert auditing.audit(house.store) == []
    bundle = recording.bundle(house.store, learner.setup, house.clock(), {})
    facts = record_facts(bundle, final=False)
    lines = [one.what for one in facts.happenings if one.what.code == "record.beside"]
    told = [say(one.code, one.fields) for one in lines]
    assert len(told) == 4
    assert all(line.startswith("Ines Varga stood beside") for line in told[:2])
    assert [stage.short for stage in facts.scale if stage.state != "done"] == []
    assert len(facts.cautions) == 4
