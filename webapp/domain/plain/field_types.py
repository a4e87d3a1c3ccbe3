"""What a field of a shop's file can hold: types, and beside each the words for what was expected.

A value is kept as it was given: 1.0 is no whole number, true is no number, and nothing is made fit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Annotated, Any

from pydantic import AfterValidator, Field, Strict

from webapp.domain.plain.axes import Axis
from webapp.domain.plain.declared import Expected

LONGEST_NAME = 80
LONGEST_LEAD = 200


def holding(test: Callable[[Any], bool]) -> AfterValidator:
    """Say beside a type that a value of it has to pass this test too."""

    def pass_on(value: Any) -> Any:
        if not test(value):
            raise ValueError(value)
        return value

    return AfterValidator(pass_on)


def one_of(words: Iterable[Any]) -> AfterValidator:
    """Say beside a type that a value of it is one of these."""
    known = frozenset(words)
    return holding(lambda value: value in known)


def some_of(words: Iterable[str]) -> AfterValidator:
    """Say beside a list that nothing stands in it but these."""
    known = frozenset(words)
    return holding(lambda value: set(value) <= known)


def _is_plain(text: str) -> bool:
    return text.isprintable() and not set("{}") & set(text)


def _is_name(text: str) -> bool:
    return bool(text.strip()) and _is_plain(text)


def _is_by_axis(value: Mapping[str, object]) -> bool:
    return value.keys() == set(Axis)


def _are_different(values: tuple[Any, ...]) -> bool:
    return len(set(values)) == len(values)


PLAIN, NAMED = holding(_is_plain), holding(_is_name)
BY_AXIS, DIFFERENT = holding(_is_by_axis), holding(_are_different)
RISING = holding(lambda span: span[0] < span[1])
# A list from a file becomes a tuple here; what stands in it is looked at as strictly as anywhere.
LIST = Strict(strict=False)
_POSITIVE = Expected("expected.positive")

Count = Annotated[int, Field(ge=0), Expected("expected.count")]
Positive = Annotated[int, Field(ge=1), _POSITIVE]
OneIn = Annotated[int, Field(ge=2), _POSITIVE]
Number = Annotated[float, Field(ge=0, allow_inf_nan=False), Expected("expected.number")]
Factor = Annotated[float, Field(ge=1, allow_inf_nan=False), Expected("expected.number")]
Truth = Annotated[bool, Expected("expected.truth")]
ItemName = Annotated[str, Field(max_length=LONGEST_NAME), NAMED, Expected("expected.name_text")]
LeadText = Annotated[str, Field(max_length=LONGEST_LEAD), NAMED, Expected("expected.name_text")]
Serial = Annotated[str, Field(max_length=LONGEST_NAME), PLAIN, Expected("expected.serial")]
Sentence = Annotated[str, Field(max_length=LONGEST_LEAD), PLAIN, Expected("expected.sentence")]
