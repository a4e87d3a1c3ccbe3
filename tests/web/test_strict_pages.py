"""Every page that a link leads to renders strictly:
a name that nobody gave it is a fault, not an empty place.

One shop in which something of everything happened is walked through by its links, once for each role.
So both sides of most branches are rendered, and whoever adds a page adds its link.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import pytest
from jinja2 import StrictUndefined, UndefinedError

from tests.web.conftest import AUDITOR, Browser, Site
from webapp.services.intake import enrolling

LINK = re.compile(r'href="(/[^"#]*)[^"]*"')
# A file, or what leaves the desk;
# the same page with other filters, or an entry of the ledger more, shows nothing new.
PASSED_OVER = re.compile(
    r"^/(static|sw|assets|tablet|manifest|sign-out)|\.(css|js|pdf|csv|png|svg|ico|json)$"
)
MOST_ALIKE = 3
TAG = re.compile(r"<[^>]*>")
# The word and the unit behind it; the second mill shows inches.
TWICE_IN = re.compile(r"\b[Ii]n\s+in\b")


def _shape(address: str) -> str:
    """The address without what differs from one item to the next."""
    return re.sub(r"[0-9a-f]{8}-[0-9a-f-]{27}|[0-9]+|[XYZ]$|=[^&]*", "*", address)


@pytest.fixture(scope="module")
def lived_in(shared_site: Site) -> Site:
    """A shop with setups that run, are signed,
    broken off and accepted, with a question, a worry and a code.
    """
    house = shared_site.house
    for _ in range(2):
        house.signed_off()
        house.clock.forward(minutes=40)
    running = house.walk("ivo").start().until("touch")
    running.question(7, "X", "Is this all right?")
    running.event("worry.raised", {"worry": "other", "text": "A smell."}, None)
    running.event("hold.pressed", {}, None)
    house.accept(running.parts)
    broken = house.walk("mara").start().until("touch")
    broken.event("setup.broken_off", {}, None)
    broken.event("break.explained", {"reason": "out_of_time", "text": "A course."}, None)
    house.accept(broken.parts)
    house.signed("ivo")
    enrolling.make_code(house.store, "ines", house.clock(), "ABCDE12345")
    return shared_site


def _walked(browser: Browser, start: str = "/") -> Iterator[tuple[str, int, str]]:
    """Every page that links lead to, with its status and its text; of pages alike the first few."""
    waiting, seen, alike = [start, "/desk/setups", "/me"], set[str](), dict[str, int]()
    while waiting:
        address = waiting.pop(0)
        shape = _shape(address)
        if address in seen or alike.get(shape, 0) >= MOST_ALIKE or PASSED_OVER.search(address.split("?")[0]):
            continue
        seen.add(address)
        alike[shape] = alike.get(shape, 0) + 1
        answer = browser.get(address)
        text = answer.get_data(as_text=True)
        yield address, answer.status_code, text
        waiting += [unescape(found) for found in LINK.findall(text)]


@pytest.mark.parametrize(
    ("person", "least"), [("ines", 40), (AUDITOR[0], 25), ("mara", 5)], ids=["lead", "auditor", "operator"]
)
def test_every_page_that_a_link_leads_to_renders(lived_in: Site, person: str, least: int) -> None:
    lived_in.app.config["PROPAGATE_EXCEPTIONS"] = False
    found = list(_walked(lived_in.signed_in(person)))
    assert len(found) >= least, [address for address, _, _ in found]
    assert [address for address, status, _ in found if status >= 400] == []
    assert [address for address, _, text in found if TWICE_IN.search(TAG.sub(" ", text))] == []


def test_a_page_that_asks_for_a_field_that_is_not_there_fails(lived_in: Site) -> None:
    environment = lived_in.app.jinja_env
    assert environment.undefined is StrictUndefined
    with lived_in.app.test_request_context("/"):
        row = {"id": "a", "status": "signed"}
        assert environment.from_string("{{ row.status }}").render(row=row) == "signed"
        for asked in ("{{ row.sttaus }}", "{% if row.sttaus %}x{% endif %}", "{{ rwo }}", "{{ rwo[0] }}"):
            with pytest.raises(UndefinedError):
                environment.from_string(asked).render(row=row)


def test_the_walk_sees_a_misspelt_field_of_a_page(lived_in: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page of one setup with one letter wrong, in the place of the real one."""
    environment = lived_in.app.jinja_env
    source, _, _ = environment.loader.get_source(environment, "desk/setup.html")  # type: ignore[union-attr]
    wrong = source.replace("state.probe_in_spindle", "state.probe_in_spinlde")
    assert wrong != source
    template = environment.from_string(wrong)
    template.name = "desk/setup.html"
    real = environment.get_or_select_template
    monkeypatch.setattr(
        environment,
        "get_or_select_template",
        lambda name, *more: template if name == "desk/setup.html" else real(name, *more),
    )
    lived_in.app.config["PROPAGATE_EXCEPTIONS"] = False
    found = [
        status for address, status, _ in _walked(lived_in.signed_in("ines")) if "/desk/setups/" in address
    ]
    assert 500 in found
