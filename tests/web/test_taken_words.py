"""No id of a thing of the shop can be a word that an address of the desk uses in its place."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.web.conftest import Site
from webapp.domain.plain.taken_words import TAKEN_WORDS
from webapp.domain.procedure.rules import faults
from webapp.domain.procedure.shipped import SHIPPED
from webapp.services.shop import items

# How the addresses call the id of a machine, a fixture, a probe, and of whose procedure it is.
IDS = ("<machine>", "<fixture>", "<probe>", "<whose>", "<item>")


def test_every_word_that_stands_in_an_address_where_an_id_may_stand_is_taken(shared_site: Site) -> None:
    addresses = [rule.rule.split("/") for rule in shared_site.app.url_map.iter_rules()]
    places = {
        (tuple(one[:place]), place) for one in addresses for place, part in enumerate(one) if part in IDS
    }
    words = {
        one[place]
        for one in addresses
        for before, place in places
        if tuple(one[:place]) == before and one[place:]
    }
    assert {"new", "term"} <= words
    assert {word for word in words if not word.startswith("<")} <= TAKEN_WORDS


@pytest.mark.parametrize("name", ["New", "Shop", "Term"])
def test_a_thing_of_such_a_name_gets_another_id(shared_site: Site, name: str) -> None:
    for kind in ("machine", "fixture", "probe"):
        assert items.new_id(shared_site.house.store, kind, name) == f"{name.lower()}-2"


@pytest.mark.parametrize("word", [*sorted(TAKEN_WORDS), "", "Two words", "draft:shop"])
def test_a_procedure_of_such_an_id_is_not_published(word: str) -> None:
    assert [one.code for one in faults(replace(SHIPPED, id=word))] == ["procedure.id"]
