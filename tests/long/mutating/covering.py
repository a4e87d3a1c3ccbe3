"""Which test runs which line: each test of the quick rooms once, with the changed modules watched."""

from __future__ import annotations

import ast
import builtins
import hashlib
import json
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.long.mutating.forked import PLAINLY, Outcome, Reading, in_fork, module_name
from tests.long.mutating.places import Change

ROOT = Path(__file__).parents[3]
ABOVE = ("tests/services", "tests/web")
ROOMS = ("tests/domain", "tests/proof", *ABOVE)
# What needs a browser or a tool is not asked, nor the second database: the same rules run in both.
QUICK = ("-m", "not browser and not linters and not bench", "-k", "not on_server")
MOST_SECONDS = 120.0
LONGEST_S = 3600
# What a watched statement calls first, by a name that no module has.
NOTED = "__zerokeep_ran__"


@dataclass(frozen=True)
class Seen:
    """A test that passes: seconds of the processor,
    and the first lines of the statements that it runs of each watched module.
    """

    seconds: float
    lines: Mapping[str, frozenset[int]]

    @property
    def size(self) -> int:
        """How many watched statements it runs: the fewer, the nearer it stands to each of them."""
        return sum(map(len, self.lines.values()))


class Watching:
    """A plugin of pytest that notes which statements of functions each test runs:
    the watched modules are read with a call before each of them.
    """

    def __init__(self, paths: Iterable[str]) -> None:
        self.paths = sorted(paths)
        self.ran: set[tuple[int, int]] = set()
        self.found: dict[str, dict[str, Any]] = {}
        self.failed: set[str] = set()

    def read_watched(self) -> None:
        """From here on the watched modules note what runs of them."""
        setattr(builtins, NOTED, lambda place, line: self.ran.add((place, line)))
        for place, path in enumerate(self.paths):
            tree = noting(ast.parse((ROOT / path).read_text(encoding="utf-8")), place)
            sys.meta_path.insert(0, Reading(module_name(path), ROOT / path, tree))

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Watch one test, its fixtures included."""
        self.ran.clear()
        began = time.process_time()
        yield
        seconds = time.process_time() - began
        lines: dict[str, list[int]] = {}
        for place, line in sorted(self.ran):
            lines.setdefault(self.paths[place], []).append(line)
        if lines and item.nodeid not in self.failed:
            self.found[item.nodeid] = {"seconds": seconds, "lines": lines}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test that fails or is left out is never asked."""
        if not report.passed:
            self.failed.add(report.nodeid)


def noting(tree: ast.Module, place: int) -> ast.Module:
    """The module with a call before each statement of its functions, which says its place and its line."""
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
            _note_each(function, place)
    return ast.fix_missing_locations(tree)


def _note_each(node: ast.AST, place: int) -> None:
    """Put the calls before the statements of a function, those of functions and classes in it left alone."""
    for name, block in ast.iter_fields(node):
        if not isinstance(block, list):
            continue
        for inner in block:
            if not isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.expr):
                _note_each(inner, place)
        if block and all(isinstance(inner, ast.stmt) for inner in block):
            setattr(node, name, [one for inner in block for one in (*_call(inner, place), inner)])


def _call(statement: ast.stmt, place: int) -> list[ast.stmt]:
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
        return []  # what describes a function has to come first
    said = [ast.Constant(place), ast.Constant(statement.lineno)]
    return [ast.copy_location(ast.Expr(ast.Call(ast.Name(NOTED, ast.Load()), said, [])), statement)]


def seen(paths: Iterable[str], rooms: Iterable[str] = ROOMS) -> dict[str, Seen]:
    """Every quick test of these rooms with the lines that it runs of these modules.
    Each room is watched once for a state of the tree, and kept with the temporary files.
    """
    watched, found = sorted(paths), dict[str, Any]()
    for room in rooms:
        kept = Path(tempfile.gettempdir()) / f"zerokeep-seen-{_state([*watched, room])}.json"
        if not kept.is_file():
            ended = in_fork(lambda where=room: _watch(watched, where), seconds=LONGEST_S)
            if ended.code:
                raise RuntimeError(ended.said)
            kept.write_text(ended.said, encoding="utf-8")
        found |= json.loads(kept.read_text(encoding="utf-8"))
    return {
        name: Seen(one["seconds"], {path: frozenset(ran) for path, ran in one["lines"].items()})
        for name, one in found.items()
    }


def _watch(paths: list[str], room: str) -> Outcome:
    watching = Watching(paths)
    watching.read_watched()
    pytest.main([*PLAINLY, *QUICK, room], plugins=[watching])
    return Outcome(0, json.dumps(watching.found))


def _state(names: list[str]) -> str:
    digest = hashlib.sha256(json.dumps(names).encode())
    for folder in ("webapp", "tests", "static/words"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in {".py", ".json"} and "tests/long" not in str(path):
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def nearest(change: Change, tests: Mapping[str, Seen]) -> list[str]:
    """The tests that run a change's statement, else its function, else its module, the nearest first: bounded
    in seconds, so that a change that nothing notices ends too.
    """
    for lines in (change.statement, change.function, None):
        runs = {
            name: one
            for name, one in tests.items()
            if change.path in one.lines and (lines is None or not one.lines[change.path].isdisjoint(lines))
        }
        if runs:
            break
    left, chosen = MOST_SECONDS, list[str]()
    for name in sorted(runs, key=lambda name: (runs[name].size, name)):
        left -= runs[name].seconds
        if chosen and left < 0:
            break
        chosen.append(name)
    return chosen
