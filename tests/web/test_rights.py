"""The table of rights: closed by default, and by object where a setup has an owner."""

import pytest

from webapp.web.edge.rights import (
    EVERYONE,
    LEADS,
    PEOPLE,
    READERS,
    TABLETS,
    EndpointWithoutRights,
    Who,
    allowed,
    check_table,
    may_open,
)

OPERATOR = Who("mara", "Mara", frozenset({"operator"}))
LEAD = Who("ilse", "Ilse", frozenset({"lead"}))
AUDITOR = Who("odo", "Odo", frozenset({"auditor"}))
NOTHING = Who("new", "New", frozenset())


@pytest.mark.parametrize(
    ("needed", "yes"),
    [
        (EVERYONE, [None, NOTHING, OPERATOR, LEAD, AUDITOR]),
        (TABLETS, [None, NOTHING, OPERATOR, LEAD, AUDITOR]),
        (PEOPLE, [NOTHING, OPERATOR, LEAD, AUDITOR]),
        (READERS, [LEAD, AUDITOR]),
        (LEADS, [LEAD]),
        (frozenset(), []),
        (None, []),
    ],
)
def test_each_set_of_roles_lets_in_exactly_those_it_names(
    needed: frozenset[str] | None, yes: list[Who | None]
) -> None:
    everyone = [None, NOTHING, OPERATOR, LEAD, AUDITOR]
    assert [who for who in everyone if allowed(needed, who)] == yes


def test_an_endpoint_outside_the_table_stops_the_start() -> None:
    with pytest.raises(EndpointWithoutRights, match=r"desk\.forgotten"):
        check_table(["board.machines", "desk.forgotten"])


def test_an_endpoint_of_the_demo_is_covered_by_the_demos_own_table() -> None:
    check_table(["practice.mill"], {"practice.mill": EVERYONE})


def test_an_operator_opens_their_own_setup_only() -> None:
    assert may_open(OPERATOR, "mara")
    assert not may_open(OPERATOR, "jon")


@pytest.mark.parametrize("who", [LEAD, AUDITOR])
def test_lead_and_auditor_open_every_setup(who: Who) -> None:
    assert may_open(who, "mara")
