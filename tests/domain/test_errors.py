"""Every refusal has its code, its fields and its sentence."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import webapp.domain
from webapp.domain.plain.errors import DomainError, Finding, LengthTooManyDecimalsError, error_classes
from webapp.words import PLACEHOLDER, NoWordsError, catalogue, fill, say

for module in pkgutil.walk_packages(webapp.domain.__path__, "webapp.domain."):
    importlib.import_module(module.name)

ERRORS = error_classes()


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: error.code)
def test_every_error_code_has_its_sentence(error: type[DomainError]) -> None:
    sentence = catalogue()[error.code]
    assert sentence[0].isupper() or sentence[0] in "“{"
    assert sentence.endswith(".")


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: error.code)
def test_a_sentence_asks_for_no_field_that_its_error_does_not_carry(error: type[DomainError]) -> None:
    assert set(PLACEHOLDER.findall(catalogue()[error.code])) <= set(error.field_names)


def test_a_code_names_one_error_only() -> None:
    classes: list[type[DomainError]] = []
    waiting = list(DomainError.__subclasses__())
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
