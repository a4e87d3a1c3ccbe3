"""Steps for whom a lead stands beside, at a real tablet: asked for by name, without the network too, and told
at the desk.
"""

from __future__ import annotations

from tests.kit.chromium import SIZES
from tests.kit.demo import Demo, now
from tests.kit.looking import faults, look, look_twice
from tests.kit.tablet import NewTablet, operator
from tests.rules.example_shop import procedure_of_levels
from webapp.domain.plain.levels import BESIDE
from webapp.services.people import rights
from webapp.services.setups.stored_setups import fold_stored
from webapp.services.shop import procedures, publishing


def publish_levels(demo: Demo) -> None:
    """The procedure differs by level from here on, and Odile has a lead beside her at Plover."""
    with demo.opened() as (store, _):
        rights.authorise(store, "odile", "plover", None, "mara", now(), level=BESIDE)
        draft = procedures.begin(store, "shop", "mara", now())
        draft = procedures.edit(store, "shop", draft.seen, lambda _: procedure_of_levels(), "mara", now())
        looked = publishing.look(store, "shop", draft.seen, "mara").digest
        publishing.publish(store, "shop", draft.seen, looked, "More for who learns.", "mara", now())


def test_who_has_a_lead_beside_names_them_and_sees_the_steps_that_are_for_them(
    demo: Demo, new_tablet: NewTablet
) -> None:
    publish_levels(demo)
    tablet = new_tablet()
    page = tablet.page
    tablet.begin("plover", "odile")
    odile = operator(tablet, demo)
    odile.walk(until="vise.tell")
    assert [one["data"]["caution"] for one in tablet.events_of("caution.read")][-1] == "learn"
    assert tablet.kind == "company"
    wrong = look(page, "company", SIZES) + look_twice(page, "company", SIZES) + faults(page, "company")
    assert "Mara Oyelaran" in tablet.text()
    assert "Odile" not in page.locator("main").inner_text()
    tablet.page.context.set_offline(True)
    tablet.tap("beside", "mara")
    assert (tablet.step, tablet.kind) == ("vise.tell", "confirm")
    assert "Mara Oyelaran stands beside you, as you said" in tablet.text()
    wrong += look(page, "somebody stands beside", SIZES) + faults(page, "somebody stands beside")
    tablet.reload()
    assert tablet.kind == "confirm", "who was named stays named"
    odile.walk(until="vise.bare")
    assert tablet.kind == "company", "each step asks for itself"
    tablet.page.context.set_offline(False)
    odile.walk()
    tablet.all_sent()
    assert [one["step"] for one in tablet.events_of("beside.named")] == [
        "vise.tell", "vise.bare", "z.touch", "x.search",
    ]  # fmt: skip
    with demo.opened() as (store, _), store.reading():
        state = fold_stored(store, demo.newest_setup("odile")["id"])
    assert state["beside"][0]["who"] == "mara"
    assert "vise.note" not in state["steps"]
    assert state["problems"] == []
    assert wrong == [], "\n".join(map(str, wrong))
