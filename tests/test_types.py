"""Data has types: no bare dict in a signature below the edge, and a misspelt name does not get through."""

from __future__ import annotations

import ast
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from webapp.checking import LINTERS, ROOT, Step, run_step

BARE = {
    f"{kind}[str, {value}]"
    for kind in ("dict", "Mapping", "MutableMapping", "defaultdict", "OrderedDict")
    for value in ("Any", "object | Any")
}
ROOMS = ("domain", "services")
TYPES = next(step for step in LINTERS if step.name == "mypy")


def _says_bare(annotation: ast.expr | None, aliases: set[str]) -> bool:
    """Whether a bare dict stands anywhere in this annotation,
    by itself or under a name of the same module.
    """
    if annotation is None:
        return False
    if isinstance(annotation, ast.Constant) and isinstance(annotation.value, str):
        annotation = ast.parse(annotation.value, mode="eval").body
    return any(
        (isinstance(part, ast.Subscript) and ast.unparse(part) in BARE)
        or (isinstance(part, ast.Name) and part.id in aliases)
        for part in ast.walk(annotation)
    )


def _aliases(module: ast.Module) -> set[str]:
    """Names that stand for a bare dict: `Row = dict[str, Any]`, and what is made of such a name."""
    found: set[str] = set()
    for statement in module.body:
        if not isinstance(statement, ast.Assign) or isinstance(statement.value, ast.Constant):
            continue
        if _says_bare(statement.value, found):
            found |= {target.id for target in statement.targets if isinstance(target, ast.Name)}
    return found


def _signatures(module: ast.Module) -> Iterator[tuple[int, ast.expr | None]]:
    """Every annotation of a function's signature and of a class's field, with its line."""
    for node in ast.walk(module):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            named = node.args
            arguments = [*named.posonlyargs, *named.args, *named.kwonlyargs, named.vararg, named.kwarg]
            yield from ((one.lineno, one.annotation) for one in arguments if one is not None)
            yield node.lineno, node.returns
        elif isinstance(node, ast.ClassDef):
            yield from ((one.lineno, one.annotation) for one in node.body if isinstance(one, ast.AnnAssign))


def bare_signatures(path: Path) -> list[int]:
    """Lines of a module whose signatures say `dict[str, Any]` or the like."""
    module = ast.parse(path.read_text(encoding="utf-8"))
    aliases = _aliases(module)
    return sorted({line for line, annotation in _signatures(module) if _says_bare(annotation, aliases)})


def test_no_signature_below_the_edge_says_a_bare_dict() -> None:
    files = [path for room in ROOMS for path in sorted((ROOT / "webapp" / room).rglob("*.py"))]
    assert len(files) > 100
    found = {str(path.relative_to(ROOT)): bare_signatures(path) for path in files}
    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    "code",
    [
        "def read(value: dict[str, Any]) -> None: ...",
        "def read() -> list[Mapping[str, Any]]: ...",
        "def read(*, rows: 'dict[str, Any] | None' = None) -> None: ...",
        "class Row:\n    value: dict[str, dict[str, Any]]",
        "Row = dict[str, Any]\nRows = list[Row]\ndef read(rows: Rows) -> None: ...",
    ],
)
def test_the_count_sees_a_bare_dict_wherever_it_stands(code: str, tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text(code, encoding="utf-8")
    assert len(bare_signatures(module)) == 1


@pytest.mark.linters
def test_the_types_fit_and_a_misspelt_field_in_a_view_a_service_or_a_rule_does_not(tmp_path: Path) -> None:
    """Of a copy that may be spoilt, which is read once: the second check looks at what was planted alone.
    All is planted at once, and each place is named by itself.
    """
    shutil.copytree(ROOT / "webapp", tmp_path / "webapp", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    step = Step(TYPES.name, (*TYPES.command, "--cache-dir", str(tmp_path / "cache")))
    outcome = run_step(step, tmp_path)
    assert outcome.passed, outcome.output
    planted = {
        "webapp/web/desk/planted.py": (
            "from webapp.services.decisions.signing_off import detail\n"
            "from webapp.web.edge.wiring import wiring\n\n\n"
            "def page() -> str:\n"
            '    return str(detail(wiring().store, "")["state"]["signed_of"])\n'
        ),
        "webapp/services/setups/planted.py": (
            "from __future__ import annotations\n\nfrom typing import TYPE_CHECKING\n\n"
            "from webapp.services.setups.stored_setups import fold_stored\n\n"
            "if TYPE_CHECKING:\n    from webapp.store import Store\n\n\n"
            "def is_decided(store: Store) -> bool:\n"
            '    return fold_stored(store, "")["sign_of"] is not None\n\n\n'
            "def name(store: Store) -> str | None:\n"
            '    person = store.people.person("")\n'
            '    return person["nmae"] if person else None\n'
        ),
        "webapp/domain/setup/planted.py": (
            "from webapp.domain.evidence.event_kinds import Event, TouchEntered\n"
            "from webapp.domain.setup.state import SetupState\n\n\n"
            "def take(state: SetupState, event: Event[TouchEntered]) -> str:\n"
            '    state.touches[-1]["kpet"] = True\n'
            '    return event["data"]["tyepd"] + state.sheet["machine"]["uint"]\n'
        ),
    }
    for name, code in planted.items():
        (tmp_path / name).write_text(code, encoding="utf-8")
    outcome = run_step(step, tmp_path)
    assert not outcome.passed
    for word in ("signed_of", "sign_of", "nmae", "kpet", "tyepd", "uint"):
        assert f'"{word}"' in outcome.output, word
