"""A try in a fork of a warm process: the libraries are there, the program is read with one module changed."""

from __future__ import annotations

import ast
import importlib
import json
import os
import resource
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

import pytest

from tests.long.mutating.places import Change

# What the program and its tests take long to read, and no change touches.
LIBRARIES = (
    "_pytest.assertion", "_pytest.fixtures", "argon2", "asn1crypto.cms", "cryptography.x509", "flask",
    "flask_wtf", "hypothesis.strategies", "joserfc.jwe", "numpy", "peewee", "prometheus_client", "psycopg",
    "pydantic", "pyhanko.sign.signers", "pyhanko.sign.validation", "pyhanko_certvalidator", "pypdf",
    "scipy.optimize", "scipy.stats", "weasyprint", "wtforms",
)  # fmt: skip
# Ended after its seconds of the processor; ended by the clock, which says nothing on a busy machine.
OUT_OF_TIME, BY_THE_CLOCK = 99, 98
# Nothing is kept, and no assertion is written anew: what fails is enough.
PLAINLY = ("-q", "-p", "no:cacheprovider", "--assert=plain")


@dataclass(frozen=True)
class Outcome:
    """How a fork ended: pytest's number (0: all green; `OUT_OF_TIME`, `BY_THE_CLOCK`), and what it said."""

    code: int
    said: str = ""


class Reading(MetaPathFinder, SourceFileLoader):
    """Finds one module and reads it as a tree has it; no file is written."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        SourceFileLoader.__init__(self, name, str(path))
        self.tree = tree

    def find_spec(
        self, fullname: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Answer for this one name."""
        del path, target
        return spec_from_file_location(fullname, self.path, loader=self) if fullname == self.name else None

    def get_code(self, fullname: str) -> CodeType:
        """Compile the tree."""
        del fullname
        return compile(self.tree, self.path, "exec", dont_inherit=True)


def module_name(path: str) -> str:
    """The name by which a module of the tree is imported."""
    return path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def warm() -> None:
    """Read the libraries once, before the first fork, and forget what is read of the program."""
    for name in LIBRARIES:
        importlib.import_module(name)
    for name in list(sys.modules):
        room, _, rest = name.partition(".")
        if room == "webapp" or (room == "tests" and rest and not rest.startswith("long")):
            del sys.modules[name]


def in_fork(work: Callable[[], Outcome], seconds: int) -> Outcome:
    """What the work came to in a process of its own, ended after so many seconds of its processor, or ten
    times as many on the clock; it says nothing on the terminal.
    """
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "answer"
        child = os.fork()
        if child == 0:
            _in_child(work, seconds, answer, folder)
        _, status = os.waitpid(child, 0)
        if answer.is_file():
            return Outcome(**json.loads(answer.read_text(encoding="utf-8")))
        ended_by = os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0
        codes = {signal.SIGXCPU: OUT_OF_TIME, signal.SIGKILL: OUT_OF_TIME, signal.SIGALRM: BY_THE_CLOCK}
        return Outcome(codes.get(ended_by, 1), f"ended by signal {ended_by}")


def _in_child(work: Callable[[], Outcome], seconds: int, answer: Path, folder: str) -> None:
    """Never comes back. The answer is there whole or not at all."""
    try:
        # The second of the two stays as it is: a process of the program that confines itself sets it anew.
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, resource.getrlimit(resource.RLIMIT_CPU)[1]))
        signal.alarm(10 * seconds)
        nowhere = os.open(os.devnull, os.O_RDWR)
        for number in (0, 1, 2):
            os.dup2(nowhere, number)
        os.environ["PYTEST_DEBUG_TEMPROOT"] = folder
        found = work()
        aside = answer.with_suffix(".part")
        aside.write_text(json.dumps({"code": found.code, "said": found.said}), encoding="utf-8")
        aside.replace(answer)
    except BaseException:  # noqa: BLE001 - whatever it was, the parent is told
        answer.write_text(json.dumps({"code": 1, "said": traceback.format_exc()}), encoding="utf-8")
    finally:
        os._exit(0)


class First:
    """A plugin of pytest that keeps which test failed first."""

    def __init__(self) -> None:
        self.name = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep the first that failed."""
        if report.failed and not self.name:
            self.name = report.nodeid

    def pytest_collectreport(self, report: Any) -> None:
        """A module that does not even read."""
        if report.failed and not self.name:
            self.name = str(report.nodeid)


def tried(root: Path, change: Change, tests: Sequence[str], seconds: int) -> Outcome:
    """Run these tests in a fork with the change in the program, until the first fails."""

    def work() -> Outcome:
        sys.meta_path.insert(0, Reading(module_name(change.path), root / change.path, change.tree()))
        first = First()
        at = ["--rootdir", str(root), "-c", str(root / "pyproject.toml")] if root != Path.cwd() else []
        code = pytest.main([*PLAINLY, "-x", *at, *tests], plugins=[first])
        return Outcome(int(code), first.name)

    return in_fork(work, seconds)
