"""A slice of the changes of one place: every kind is made, and one that matters is noticed."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.long.mutating.covering import NOTED, Seen, nearest, noting
from tests.long.mutating.places import Change, changes
from tests.long.mutations import ROOT, drawn, known, modules, watched_rooms
from tests.long.seeds import drawing_tests

SMALL = """def f(a, b):
    return not a or (a <= 3 and b in (1, True) and a is not None)

OF_ITS_OWN = 8
"""
LOOKS = "from webapp.m import f\n\ndef test_f():\n    assert f(3, 1) and not f(4, 1)\n"
LOOKS_AWAY = "import webapp.m\n\ndef test_f():\n    assert True\n"
NEVER_ENDS = "from webapp.m import f\n\ndef test_f():\n    while not f(3, 1):\n        pass\n"
# As a process does that reads what may be hostile (`webapp/record/confinement.py`).
CONFINES = """import resource

def test_f():
    resource.setrlimit(resource.RLIMIT_CPU, (60, resource.RLIM_INFINITY))
"""
TESTS = {"looks": LOOKS, "looks_away": LOOKS_AWAY, "never_ends": NEVER_ENDS, "confines": CONFINES}
TRIES = """
import json, sys
sys.path[:0] = [{tree!r}, {root!r}]
from pathlib import Path
from tests.long.mutating.forked import tried
from tests.long.mutating.places import changes
edge = next(one for one in changes("webapp/m.py", Path("webapp/m.py").read_text()) if one.after == "a < 3")
print(json.dumps([tried(Path({tree!r}), edge, [name], 2).__dict__ for name in sys.argv[1:]]))
"""
# The same change in a process that has collected its tests; then one of the module's own level.
HERE = """
import json, os, sys
sys.path[:0] = [{tree!r}, {root!r}]
from pathlib import Path
from tests.long.mutating.collected import collect
from tests.long.mutating.places import changes
known = list(changes("webapp/m.py", Path("webapp/m.py").read_text()))
edge = next(one for one in known if one.after == "a < 3")
own = next(one for one in known if one.before == "8")
told, terminal = [], os.dup(1)
def work(here):
    told.extend(here.tried(edge, ["test_" + name + ".py::test_f"], 2) for name in sys.argv[1:])
    told.append(here.tried(own, ["test_looks.py::test_f"], 2))
    told.append(here.tried(edge, ["test_looks.py::test_gone"], 2))
os.dup2(os.open(os.devnull, os.O_RDWR), 1)
collect(Path({tree!r}), Path({tree!r}) / "base", ["-c", "pyproject.toml", "."], work)
os.write(terminal, json.dumps([one and one.__dict__ for one in told]).encode())
"""


def edge() -> Change:
    """The change of an edge that matters."""
    return next(one for one in changes("webapp/m.py", SMALL) if one.after == "a < 3")


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
    assert len({one.text for one in found}) == len(found) == 10
    assert all(ast.parse(one.text) for one in found)
    inside = {(one.line, one.statement, one.function) for one in found if one.before != "8"}
    assert inside == {(2, range(2, 3), range(2, 3))}


def test_what_only_types_read_and_how_a_class_is_made_is_left_alone() -> None:
    text = "@dataclass(frozen=True)\nclass A:\n    b: Annotated[int, 3] = 4\n\ndef f(a: F[1]) -> F[2]: ...\n"
    assert [(one.before, one.after) for one in changes("m.py", text)] == [("4", "5")]


def answered(tree: Path, script: str, *words: str) -> Any:
    """What a script says in a process of its own, which forks: this one may have threads."""
    (tree / "webapp").mkdir()
    (tree / "webapp" / "__init__.py").write_text("", encoding="utf-8")
    (tree / "webapp" / "m.py").write_text(SMALL, encoding="utf-8")
    (tree / "pyproject.toml").write_text("", encoding="utf-8")
    for name, text in TESTS.items():
        (tree / f"test_{name}.py").write_text(text, encoding="utf-8")
    command = [sys.executable, "-P", "-c", script.format(root=str(ROOT), tree=str(tree)), *words]
    alone = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    ended = subprocess.run(command, cwd=tree, env=alone, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    assert (tree / "webapp" / "m.py").read_text(encoding="utf-8") == SMALL
    return json.loads(ended.stdout)


def test_a_change_that_matters_is_noticed_and_a_test_that_does_not_look_lets_it_live(tmp_path: Path) -> None:
    looked, looked_away, never, confines = answered(tmp_path, TRIES, *(f"test_{name}.py" for name in TESTS))
    assert looked == {"code": 1, "said": "test_looks.py::test_f"}
    assert looked_away == confines == {"code": 0, "said": ""}
    assert never["code"] != 0
    assert never["said"].startswith("ended by signal")


def test_a_function_is_changed_where_it_stands_and_what_cannot_be_is_left_to_be_read_anew(
    tmp_path: Path,
) -> None:
    looked, looked_away, never, confines, own_level, gone = answered(tmp_path, HERE, *TESTS)
    assert looked == {"code": 1, "said": "test_looks.py::test_f"}
    assert looked_away == confines == {"code": 0, "said": ""}
    assert never["said"].startswith("ended by signal")
    assert own_level is None
    assert gone is None


def test_a_watched_module_notes_each_statement_that_runs_and_does_the_same() -> None:
    text = """
def f(a):
    "What it is."
    if a:
        return [b for b in a]
    elif a is None:
        def g():
            return 3
        return g
    try:
        return g
    except NameError:
        return 4
"""
    ran: list[tuple[int, int]] = []
    names: dict[str, Any] = {NOTED: lambda place, line: ran.append((place, line))}
    exec(compile(noting(ast.parse(text), 7), "m.py", "exec"), names)  # noqa: S102
    f = names["f"]
    assert f.__doc__ == "What it is."
    assert f([1]) == [1]
    assert ran == [(7, 4), (7, 5)]
    inner = f(None)
    del ran[:]
    assert inner() == 3
    assert ran == [(7, 8)]
    del ran[:]
    assert f(0) == 4
    assert ran == [(7, line) for line in (4, 6, 10, 11, 13)]


def test_the_tests_that_run_a_line_are_asked_the_nearest_first_and_not_without_end() -> None:
    def ran(*lines: int, seconds: float = 1.0) -> Seen:
        return Seen(seconds, {"webapp/m.py": frozenset(lines)})

    elsewhere = Seen(1.0, {"n.py": frozenset({2})})
    tests = {"far": ran(1, 2, 3), "near": ran(2), "beside": ran(1), "elsewhere": elsewhere}
    assert nearest(edge(), tests) == ["near", "far"]
    assert nearest(edge(), {"beside": ran(1)}) == ["beside"]
    assert nearest(edge(), {"elsewhere": elsewhere}) == []
    slow = {f"slow {number}": ran(2, seconds=100) for number in range(9)}
    assert nearest(edge(), slow) == ["slow 0"]


def test_what_is_tried_and_what_draws_is_there() -> None:
    named = modules()
    assert len(named) > 50
    assert {one.path for one in known()} <= set(named)
    assert "tests/domain/test_compare.py" in drawing_tests()


def test_a_sample_is_the_same_for_its_seed_another_for_another_and_of_the_rooms_that_are_named() -> None:
    first = drawn(["20"])
    assert len(first) == 20
    assert [one.text for one in drawn(["20"])] == [one.text for one in first]
    assert [one.text for one in drawn(["20", "7"])] != [one.text for one in first]
    edge_alone = drawn(["--in", "webapp/web/edge", "--in", "webapp/services/people"])
    rooms = {Path(one.path).parent.name for one in edge_alone}
    assert rooms == {"edge", "people"}
    assert watched_rooms(edge_alone) == ("tests/services", "tests/web")
    assert "tests/domain" in watched_rooms(first)
    assert len(drawn(["1000000"])) == len(known())


def test_a_room_that_is_not_tried_is_told_and_no_run_without_a_change_passes(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit):
        drawn(["5", "--in", "webapp/elsewhere"])
    assert "webapp/elsewhere" in capsys.readouterr().err
