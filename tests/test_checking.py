"""The named steps of `zerokeep check`:
they run in order, and the first failure ends the run under its name.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from webapp.checking import HOOK, STEPS, Step, check, keep_by_hook, outcomes, run_step

GOOD = Step("good", (sys.executable, "-c", "print('fine')"))
BAD = Step("bad", (sys.executable, "-c", "import sys; print('not fine'); sys.exit('at all')"))


def test_steps_run_in_order_and_stop_at_the_first_failure() -> None:
    assert [outcome.name for outcome in outcomes([GOOD, BAD, GOOD])] == ["good", "bad"]


def test_a_failing_step_is_named_with_all_that_it_said() -> None:
    lines: list[str] = []
    assert check([GOOD, BAD], write=lines.append) == 1
    assert lines[0] == "passed   good"
    assert "not fine" in lines[1]
    assert "at all" in lines[1]
    assert lines[1].endswith("FAILED   bad")


def test_passing_steps_end_with_status_0() -> None:
    assert check([GOOD, GOOD], write=[].append) == 0


@pytest.mark.parametrize(("steps", "status", "failed"), [([GOOD], 0, None), ([BAD, GOOD], 1, "bad")])
def test_the_json_result_names_the_failing_step(steps: list[Step], status: int, failed: str | None) -> None:
    lines: list[str] = []
    assert check(steps, as_json=True, write=lines.append) == status
    (line,) = lines
    result = json.loads(line)
    assert result["passed"] is (failed is None)
    assert result["failed"] == failed
    assert [step["name"] for step in result["steps"]] == [steps[0].name]


def test_a_step_runs_in_the_folder_it_is_given(tmp_path: Path) -> None:
    step = Step("where", (sys.executable, "-c", "import os; print(os.getcwd())"))
    assert run_step(step, tmp_path).output.strip() == str(tmp_path.resolve())


def test_the_linters_come_before_the_tests() -> None:
    assert [step.name for step in STEPS] == [
        "ruff check",
        "ruff format",
        "mypy",
        "import contracts",
        "script lint",
        "script types",
        "script format",
        "pytest",
    ]


def test_a_working_copy_gets_a_hook_once_and_keeps_a_strange_one(tmp_path: Path) -> None:
    lines: list[str] = []
    assert keep_by_hook(tmp_path, write=lines.append) == 2
    subprocess.run(["git", "init", "-q", tmp_path], check=True)
    assert keep_by_hook(tmp_path, write=lines.append) == 0
    assert keep_by_hook(tmp_path, write=lines.append) == 0
    hook = tmp_path / ".git" / "hooks" / "pre-commit"
    assert hook.read_text(encoding="utf-8") == HOOK
    hook.write_text("#!/bin/sh\n", encoding="utf-8")
    assert keep_by_hook(tmp_path, write=lines.append) == 2
    assert hook.read_text(encoding="utf-8") == "#!/bin/sh\n"
    assert "no working copy" in lines[0]
    assert str(hook) in lines[-1]


def test_where_there_is_no_git_it_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines: list[str] = []
    monkeypatch.setenv("PATH", str(tmp_path))
    assert keep_by_hook(tmp_path, write=lines.append) == 2
    assert lines == [
        "There is no git on this computer, so it can be given no hook. Install git, then ask again."
    ]


def test_what_the_linters_find_stops_a_commit(tmp_path: Path) -> None:
    subprocess.run(["git", "init", "-q", tmp_path], check=True)
    keep_by_hook(tmp_path, write=[].append)
    command = tmp_path / ".venv" / "bin" / "zerokeep"
    command.parent.mkdir(parents=True)
    for said, status in (("exit 0", 0), ("exit 1", 1)):
        command.write_text(f'#!/bin/sh\n[ "$*" = "check --linters" ] || exit 9\n{said}\n', encoding="utf-8")
        command.chmod(0o755)
        commit = [
            "git",
            "-c",
            "user.name=A",
            "-c",
            "user.email=a@b",
            "commit",
            "-q",
            "--allow-empty",
            "-m",
            "x",
        ]
        assert subprocess.run(commit, cwd=tmp_path, capture_output=True, check=False).returncode == status
