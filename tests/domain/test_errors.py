"""Every refusal has its code, its fields and its sentence."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import webapp.domain
import webapp.store.errors
from webapp.domain.plain.errors import Finding, Refusal, error_classes
from webapp.domain.plain.length_errors import LengthTooManyDecimalsError
from webapp.words import PLACEHOLDER, NoWordsError, SaidByCode, catalogue, fill, say

for module in pkgutil.walk_packages(webapp.domain.__path__, "webapp.domain."):
    importlib.import_module(module.name)

ROOT = Path(__file__).parents[2]
ERRORS = error_classes(Refusal)


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: error.code)
def test_every_error_code_has_its_sentence(error: type[Refusal]) -> None:
    sentence = catalogue()[error.code]
    assert sentence[0].isupper() or sentence[0] in "“{"
    assert sentence.endswith(".")


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: error.code)
def test_a_sentence_asks_for_no_field_that_its_error_does_not_carry(error: type[Refusal]) -> None:
    assert set(PLACEHOLDER.findall(catalogue()[error.code])) <= set(error.field_names)


def test_a_code_names_one_error_only() -> None:
    classes: list[type[Refusal]] = []
    waiting = list(Refusal.__subclasses__())
    while waiting:
        error = waiting.pop()
        waiting.extend(error.__subclasses__())
        if error.code:
            classes.append(error)
    codes = [error.code for error in classes]
    assert len(codes) == len(set(codes))
    assert len(codes) > 50


@pytest.mark.parametrize("code", [error.code for error in ERRORS])
def test_codes_are_written_as_subject_and_name(code: str) -> None:
    assert re.fullmatch(r"[a-z][a-z0-9_]*(\.[a-z0-9_]+)+", code)


TREES = {
    path.relative_to(ROOT): ast.parse(path.read_text(encoding="utf-8"))
    for path in sorted((ROOT / "webapp").rglob("*.py"))
}


def said_by_code() -> set[str]:
    """Names of all kinds of refusal whose code is given where they are raised."""
    names = {SaidByCode.__name__}
    classes = [node for tree in TREES.values() for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    while more := {one.name for one in classes if {ast.unparse(base) for base in one.bases} & names} - names:
        names |= more
    return names


def wrongly_said(tree: ast.Module, kinds: set[str]) -> list[tuple[int, str]]:
    """Lines where a refusal is made by a code that has no words, or without a field that they ask for."""
    wrong = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or ast.unparse(node.func).rpartition(".")[2] not in kinds:
            continue
        code = node.args[0] if node.args else None
        if not isinstance(code, ast.Constant) or any(word.arg is None for word in node.keywords):
            continue  # said again in another's words
        asked = set(PLACEHOLDER.findall(catalogue().get(str(code.value), "{no_words}")))
        if asked - {word.arg for word in node.keywords}:
            wrong.append((node.lineno, str(code.value)))
    return wrong


def test_what_is_refused_by_a_code_has_words_and_all_their_fields() -> None:
    kinds = said_by_code()
    assert {"BadSetting", "CannotStart", "JwsRefused", "AuthorityRefused"} <= kinds
    assert {str(path): wrong for path, tree in TREES.items() if (wrong := wrongly_said(tree, kinds))} == {}


@pytest.mark.parametrize(
    "line", ['BadSetting("settings.nowhere")', 'BadSetting("settings.flag", name="demo")']
)
def test_a_code_without_words_or_a_field_is_seen(line: str) -> None:
    assert wrongly_said(ast.parse(f"raise {line}"), {"BadSetting"}) != []


@pytest.mark.parametrize("path", ["webapp/settings.py", "webapp/data_folder.py", "webapp/store/errors.py"])
def test_no_sentence_stands_outside_the_catalogue(path: str) -> None:
    """Where sentences stood in the code: whoever refuses gives a code and short fields, no sentence."""
    raised = [node for node in ast.walk(TREES[Path(path)]) if isinstance(node, ast.Raise) and node.exc]
    texts = [part.value for one in raised for part in ast.walk(one) if isinstance(part, ast.Constant)]
    assert [text for text in texts if isinstance(text, str) and " " in text.strip()] == []


def test_no_sentence_says_in_before_a_unit_that_may_be_inches() -> None:
    assert [code for code, text in catalogue().items() if re.search(r"\b[Ii]n \{\w*unit\}", text)] == []


def test_an_error_refuses_a_missing_field() -> None:
    with pytest.raises(TypeError, match="decimals"):
        LengthTooManyDecimalsError(typed="1.2345")


def test_an_error_refuses_a_field_too_many() -> None:
    with pytest.raises(TypeError, match="colour"):
        LengthTooManyDecimalsError(typed="1.2345", decimals=3, unit="mm", colour="red")


def test_an_error_can_be_listed_as_a_finding() -> None:
    error = LengthTooManyDecimalsError(typed="1.2345", decimals=3, unit="mm")
    assert error.finding() == Finding(
        "length.too_many_decimals", {"typed": "1.2345", "decimals": 3, "unit": "mm"}
    )


def test_a_sentence_says_what_was_typed_and_what_was_expected() -> None:
    said = say("length.too_many_decimals", {"typed": "1.2345", "decimals": 3, "unit": "mm"})
    assert "“1.2345”" in said
    assert "the 3 decimals" in said
    assert "mm is expected" in said


def test_typed_text_that_looks_like_a_field_stays_as_it_is() -> None:
    said = say("length.exponent", {"typed": "{typed}1e3"})
    assert "“{typed}1e3”" in said


def test_a_field_that_names_a_code_is_put_into_words() -> None:
    said = say("approach.measure_negative", {"measure_code": "measure.edge_break", "value": "-1"})
    assert said.startswith("The value for the edge break of the face is -1.")


def test_a_code_without_words_is_raised() -> None:
    with pytest.raises(NoWordsError, match=r"length\.nowhere"):
        say("length.nowhere")


def test_a_missing_field_is_raised() -> None:
    with pytest.raises(NoWordsError, match="typed"):
        say("length.exponent", {})


def test_fill_takes_the_words_it_is_given() -> None:
    assert fill({"a.b": "{n} of {n}"}, "a.b", {"n": 3}) == "3 of 3"


def test_a_code_in_two_files_is_raised(tmp_path: Path) -> None:
    (tmp_path / "en").mkdir()
    (tmp_path / "en" / "one.json").write_text('{"a.b": "One."}', encoding="utf-8")
    (tmp_path / "en" / "two.json").write_text('{"a.b": "Two."}', encoding="utf-8")
    with pytest.raises(NoWordsError, match=r"two\.json repeats a\.b"):
        catalogue("en", tmp_path)
