"""A slice of the changes of one place: every kind is made, and one that matters is noticed."""

from __future__ import annotations

import ast
from pathlib import Path

from tests.long.mutations import ROOT, TESTS, changes, survives
from tests.long.seeds import drawing_tests

SMALL = "def f(a, b):\n    return not a or (a <= 3 and b in (1, True) and a is not None)\n"


def test_each_change_is_of_one_place_and_can_be_read() -> None:
    found = list(changes("m.py", SMALL))
    assert {(one.before, one.after) for one in found} >= {
        ("a <= 3", "a < 3"),
        ("b in (1, True)", "b not in (1, True)"),
        ("a is not None", "a is None"),
        ("3", "4"),
        ("True", "False"),
        ("not a", "+bool(a)"),
    }
    assert len({one.text for one in found}) == len(found) == 9
    assert all(ast.parse(one.text) for one in found)


def test_a_change_that_matters_is_noticed_and_a_test_that_does_not_look_lets_it_live(tmp_path: Path) -> None:
    (tmp_path / "m.py").write_text(SMALL, encoding="utf-8")
    looking = "from m import f\n\ndef test_f():\n    assert f(3, 1) and not f(4, 1)\n"
    (tmp_path / "test_looks.py").write_text(looking, encoding="utf-8")
    (tmp_path / "test_looks_away.py").write_text("def test_f():\n    assert True\n", encoding="utf-8")
    edge = next(one for one in changes("m.py", SMALL) if one.after == "a < 3")
    assert not survives(tmp_path, edge, ("test_looks.py",))
    assert survives(tmp_path, edge, ("test_looks_away.py",))
    assert (tmp_path / "m.py").read_text(encoding="utf-8") == SMALL


def test_what_is_tried_and_what_draws_is_there() -> None:
    named = [*TESTS, *(test for tests in TESTS.values() for test in tests)]
    assert [name for name in named if not (ROOT / name).is_file()] == []
    assert "tests/domain/test_compare.py" in drawing_tests()
