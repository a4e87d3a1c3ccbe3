"""How a right is held. The rule is the shop's own, no outside source."""

from webapp.domain.plain.levels import ALONE, BESIDE, LEVELS
from webapp.domain.shop.levels import Held, held


def test_a_right_from_before_there_were_levels_is_one_to_do_so_alone() -> None:
    assert held([]) is None
    assert held([(None, None)]) == Held(ALONE)
    assert LEVELS == ("alone", "beside")


def test_of_several_rights_the_one_with_a_lead_beside_counts_and_no_note_is_lost() -> None:
    for rights in (
        [("beside", "Two mornings"), ("alone", None)],
        [("alone", "Two mornings"), ("beside", "")],
        [(None, "An older one"), ("beside", "Two mornings")],
    ):
        assert held(rights) == Held(BESIDE, "Two mornings")
