"""Changes of one place in the code, each with the tests that ought to notice it:
what nobody notices is a survivor.

A change swaps one comparison, joins by `or` what was joined by `and` (and the other way round), turns a truth
value, drops a `not`, or moves a whole number by one. `python -m tests.long mutations` tries them all, with a
number a sample of that many, drawn by a fixed seed; `tests/long/mutations.md` keeps the last figures and
argues each survivor. It works on a copy of the tree.
Own code, and no mutation tool of a registry: those start a whole test run for each change, and the tests of
a room of this tree are named here beside the module, which makes a change some seconds instead of minutes.
"""

from __future__ import annotations

import ast
import copy
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[2]
COPIED = ("webapp", "static", "templates", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
SEED = 20_261_130
LONGEST_S = 900
# Rules, intake, rights and seal, each with the quickest tests that know it.
TESTS: dict[str, tuple[str, ...]] = {
    "webapp/domain/touch/compare.py": ("tests/domain/test_compare.py", "tests/domain/test_setup.py"),
    "webapp/domain/setup/stops.py": ("tests/domain/test_setup.py",),
    "webapp/domain/setup/touches.py": ("tests/domain/test_setup.py",),
    "webapp/domain/setup/lifts.py": ("tests/domain/test_setup.py",),
    "webapp/domain/setup/worries.py": ("tests/domain/test_setup.py",),
    "webapp/domain/setup/troubles.py": ("tests/domain/test_setup.py",),
    "webapp/domain/setup/copying.py": ("tests/domain/test_setup.py", "tests/domain/test_half_set.py"),
    "webapp/domain/shop/slots.py": ("tests/domain/test_slots.py",),
    "webapp/domain/plain/lengths.py": ("tests/domain/test_lengths.py",),
    "webapp/services/intake/sorting.py": ("tests/services/test_intake.py",),
    "webapp/services/intake/chain.py": ("tests/services/test_intake.py",),
    "webapp/web/edge/rights.py": ("tests/web/test_rights.py", "tests/web/test_roles.py"),
    "webapp/proof/pdf_verify.py": ("tests/proof/test_pdf_seal.py", "tests/proof/test_attacks.py"),
}
SWAPS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One place of a module changed: its line, what stood there, and the whole module as it reads then."""

    path: str
    line: int
    before: str
    after: str
    text: str


def changes(path: str, source: str) -> Iterator[Change]:
    """Yield every change of one place, in the order of the places."""
    tree = ast.parse(source)
    for number, node in enumerate(ast.walk(tree)):
        for other in _others(node):
            changed = copy.deepcopy(tree)
            place = next(one for at, one in enumerate(ast.walk(changed)) if at == number)
            for name, value in other.items():
                setattr(place, name, value)
            line = getattr(node, "lineno", 0)
            yield Change(path, line, ast.unparse(node), ast.unparse(place), ast.unparse(changed))


def _others(node: ast.AST) -> Iterator[dict[str, object]]:
    """What else could stand there, as the node's fields."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
        yield {"ops": [SWAPS[type(node.ops[0])](), *node.ops[1:]]}
    elif isinstance(node, ast.BoolOp):
        yield {"op": ast.And() if isinstance(node.op, ast.Or) else ast.Or()}
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield {"op": ast.UAdd(), "operand": ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])}
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield {"value": not node.value}
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield {"value": node.value + 1}


def survives(tree: Path, change: Change, tests: tuple[str, ...]) -> bool:
    """Tell whether the tests stay green in this copy of the tree with the change in it."""
    path = tree / change.path
    source = path.read_text(encoding="utf-8")
    path.write_text(change.text, encoding="utf-8")
    command = (sys.executable, "-B", "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *tests)
    try:
        ended = subprocess.run(command, cwd=tree, capture_output=True, timeout=LONGEST_S, check=False)
    except subprocess.TimeoutExpired:
        return False
    finally:
        path.write_text(source, encoding="utf-8")
    return ended.returncode == 0


def copied(into: Path) -> Path:
    """Return a copy of the tree that may be spoilt."""
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, into / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, into / name)
    return into


def run(most: int | None) -> int:
    """Print each survivor, and how many there are of how many; 1 where they are five in a hundred or more."""
    known = [one for path in TESTS for one in changes(path, (ROOT / path).read_text(encoding="utf-8"))]
    tried = known if most is None else Random(SEED).sample(known, min(most, len(known)))
    left = 0
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        for number, one in enumerate(tried, start=1):
            if survives(tree, one, TESTS[one.path]):
                left += 1
                sys.stdout.write(f"{one.path}:{one.line}: `{one.before}` -> `{one.after}`\n")
            if number % 10 == 0 or number == len(tried):
                sys.stdout.write(f"{left} of {number} survive ({len(known)} changes known)\n")
            sys.stdout.flush()
    return 1 if 20 * left >= len(tried) else 0
