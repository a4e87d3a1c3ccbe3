"""The same figures of another commit and of this one, in one run.

Start it by hand: python -m tests.bench.beside COMMIT [rounds] [bench …]. The other commit's files are laid
out in a folder that goes again; both run in turn with this working copy's libraries, so that a busy moment
hits both. The intake of both is measured by this commit's bench, which imports nothing that moved; pages and
tablet by each commit's own, whose figures are defined alike. Nothing is asserted.
"""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BENCHES = ("bench_intake", "bench_pdf", "bench_tablet")
OURS = ("tests/bench/bench_intake.py",)
# What was added since for a second database counts for itself.
SECOND_DATABASE = ("postgresql", "moving")


def laid_out(commit: str, folder: Path) -> Path:
    """The files of a commit, with the benches that both are measured by."""
    packed = folder / "files.tar"
    subprocess.run(("git", "archive", "-o", str(packed), commit), cwd=ROOT, check=True)
    there = folder / "there"
    shutil.unpack_archive(packed, there)
    for name in OURS:
        shutil.copy(ROOT / name, there / name)
    return there


def statements(tree: Path) -> str:
    """How many statements the program has, without the second database, and how many its scripts."""
    files = [
        path
        for path in (tree / "webapp").rglob("*.py")
        if not any(name in str(path.relative_to(tree)) for name in SECOND_DATABASE)
    ]
    python = sum(
        isinstance(node, ast.stmt) for path in files for node in ast.walk(ast.parse(path.read_text("utf-8")))
    )
    scripts = [path.read_text("utf-8") for path in (tree / "static/js").rglob("*.js")]
    of_scripts = sum(text.count(";") for text in scripts)
    return f"{python} statements in {len(files)} files of webapp, {of_scripts} in static/js"


def main(commit: str, rounds: int, benches: tuple[str, ...] = BENCHES) -> int:
    """Run each bench in both, in turn; 1 if one of them could not be run."""
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        trees = {commit[:12]: laid_out(commit, Path(folder)), "this one": ROOT}
        for name, tree in trees.items():
            print(f"{name:12} {statements(tree)}", flush=True)
        for bench in benches:
            for _ in range(rounds):
                for name, tree in trees.items():
                    done = subprocess.run(
                        (sys.executable, "-m", f"tests.bench.{bench}"),
                        cwd=tree,
                        capture_output=True,
                        text=True,
                        check=False,
                    )
                    failed |= done.returncode != 0
                    for line in (done.stdout or done.stderr).rstrip().splitlines():
                        print(f"{name:12} {line}", flush=True)
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 1, tuple(sys.argv[3:]) or BENCHES))
