"""Tries in forks of a process that has collected its tests and read the program:
a function is changed where it stands, so that a try costs what its tests cost.

What a change of a module's own level touches is copied all over the program by then; such a change, and one
that nobody notices here, is for a process that reads the program anew (`forked`).
"""

from __future__ import annotations

import gc
import shutil
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import _lru_cache_wrapper
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest

from tests.long.mutating.forked import PLAINLY, First, Outcome, in_fork
from tests.long.mutating.places import Change

# The place of a function in its file, as its code tells it.
Place = tuple[str, int]


class Collected:
    """A plugin of pytest: in place of running what was collected, it is given to whoever tries changes."""

    def __init__(self, root: Path, base: Path, work: Callable[[Collected], None]) -> None:
        self.root, self.base, self.work = root, base, work
        self.tests: dict[str, pytest.Item] = {}
        self.first = First()
        self.functions: dict[str, list[FunctionType]] = {}
        self.kept: list[_lru_cache_wrapper[Any]] = []
        self.trusted: dict[str, bool] = {}

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Make what all tests share by running a few of them, look where functions stand, and work."""
        self.tests = {item.nodeid: item for item in session.items}
        session.config.pluginmanager.register(self.first)
        self._run(one_of_each_room(self.tests))
        self.first.name = ""
        for one in gc.get_objects():
            if isinstance(one, FunctionType):
                self.functions.setdefault(one.__code__.co_filename, []).append(one)
            elif isinstance(one, _lru_cache_wrapper) and str(one.__module__).startswith("webapp"):
                self.kept.append(one)
        gc.freeze()
        self.work(self)
        return True

    def tried(self, change: Change, names: Sequence[str], seconds: int) -> Outcome | None:
        """Who notices a change of a function; None where that cannot be told here."""
        places = changed_functions(change, self.root) if change.function else {}
        file = str(self.root / change.path)
        these = [one for one in self.functions.get(file, []) if _place(one.__code__) in places]
        if not these or not self.tests.keys() >= set(names):
            return None

        def work() -> Outcome:
            for one in these:
                one.__code__ = places[_place(one.__code__)]
            return self._asked(names)

        ended = self._in_fork(work, seconds)
        believed = ended.code != 1 or self._passes_unchanged(ended.said, seconds)
        return ended if believed else None

    def _passes_unchanged(self, name: str, seconds: int) -> bool:
        """Whether it is a test that passes alone in a fork: else what it says of a change is not believed."""
        if name not in self.tests:
            return False
        if name not in self.trusted:
            self.trusted[name] = self._in_fork(lambda: self._asked([name]), seconds).code == 0
        return self.trusted[name]

    def _in_fork(self, work: Callable[[], Outcome], seconds: int) -> Outcome:
        before = set(self.base.glob("*"))
        ended = in_fork(work, seconds)
        for left in set(self.base.glob("*")) - before:
            shutil.rmtree(left, ignore_errors=True)
        return ended

    def _asked(self, names: Sequence[str]) -> Outcome:
        for one in self.kept:
            one.cache_clear()
        self._run([self.tests[name] for name in names])
        return Outcome(1 if self.first.name else 0, self.first.name)

    def _run(self, items: Sequence[pytest.Item]) -> None:
        """Run tests until one fails. What they share stays, for whoever comes next."""
        anywhere = next(iter(self.tests.values()))
        for place, item in enumerate(items, start=1):
            following = items[place] if place < len(items) else anywhere
            item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.first.name:
                return


def one_of_each_room(tests: Mapping[str, pytest.Item]) -> list[pytest.Item]:
    """A test of each folder that asks for what its whole folder shares, if there is one."""
    found: dict[Path, pytest.Item] = {}
    for item in tests.values():
        if {"house", "site", "keyring"} & set(getattr(item, "fixturenames", ())):
            found.setdefault(item.path.parent, item)
    return list(found.values())


def changed_functions(change: Change, root: Path) -> dict[Place, CodeType]:
    """The code of the functions that a change touches, by their places: the one around it and those in which
    that stands. Two on one line (short ones without a name) are not told apart, and left out.
    """
    file = str(root / change.path)
    before = dict(_codes(compile(change.source, file, "exec", dont_inherit=True)))
    after = list(_codes(compile(change.tree(), file, "exec", dont_inherit=True)))
    often = Counter(place for place, _ in after)
    return {place: code for place, code in after if often[place] == 1 and code != before[place]}


def _codes(code: CodeType) -> Iterator[tuple[Place, CodeType]]:
    """Every function's code in a module's, by its place."""
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield _place(inner), inner
            yield from _codes(inner)


def _place(code: CodeType) -> Place:
    return code.co_qualname, code.co_firstlineno


def collect(root: Path, base: Path, words: Iterable[str], work: Callable[[Collected], None]) -> int:
    """Collect the tests that the words name, and work with them; the number of pytest."""
    plainly = (*PLAINLY, "-q", "-s", f"--basetemp={base}")
    return int(pytest.main([*plainly, *words], plugins=[Collected(root, base, work)]))
