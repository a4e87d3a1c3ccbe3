"""JSON is read and written in one way only."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.plain.json_strict import (
    LARGEST_INTEGER,
    LARGEST_TEXT_BYTES,
    JsonCannotWriteError,
    JsonIntegerTooLargeError,
    JsonLoneSurrogateError,
    JsonMalformedError,
    JsonNotANumberError,
    JsonNotUtf8Error,
    JsonRepeatedNameError,
    JsonTooDeepError,
    JsonTooLongError,
    canonical_bytes,
    canonical_text,
    read_json,
)

INTEGERS = st.integers(-LARGEST_INTEGER, LARGEST_INTEGER)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]))
VALUES: Any = st.recursive(
    st.none() | st.booleans() | INTEGERS | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=20,
)


@given(VALUES)
def test_what_is_written_reads_back_the_same(value: Any) -> None:
    assert read_json(canonical_bytes(value)) == value


@given(st.dictionaries(TEXTS, INTEGERS))
def test_the_order_of_names_does_not_change_the_text(value: dict[str, int]) -> None:
    assert canonical_text(dict(reversed(value.items()))) == canonical_text(value)


def test_names_are_sorted_and_no_space_is_left() -> None:
    assert canonical_text({"b": [1, 2], "a": {"d": None, "c": "é"}}) == '{"a":{"c":"é","d":null},"b":[1,2]}'


def test_a_whole_decimal_is_written_as_the_integer_that_it_is() -> None:
    assert canonical_text([12.0, -0.0, 0.25]) == "[12,0,0.25]"


@pytest.mark.parametrize("text", ['{"a":1,"a":1}', '{"x":{"k":1,"j":2,"k":3}}', '[{"":1,"":2}]'])
def test_a_repeated_name_is_refused(text: str) -> None:
    with pytest.raises(JsonRepeatedNameError):
        read_json(text.encode())


def test_the_refusal_names_the_repeated_name() -> None:
    with pytest.raises(JsonRepeatedNameError) as refused:
        read_json(b'{"axis":"X","typed":"1","axis":"Y"}')
    assert refused.value.fields == {"name": "axis"}


@pytest.mark.parametrize("text", ["NaN", "Infinity", "[-Infinity]", "1e999", "-1e999"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(JsonNotANumberError):
        read_json(text.encode())


@pytest.mark.parametrize("value", [2**53, -(2**53), 10**30])
def test_an_integer_that_a_browser_cannot_hold_is_refused(value: int) -> None:
    with pytest.raises(JsonIntegerTooLargeError):
        read_json(str(value).encode())
    with pytest.raises(JsonIntegerTooLargeError):
        canonical_text(value)


def test_the_largest_integer_is_taken() -> None:
    assert read_json(str(LARGEST_INTEGER).encode()) == LARGEST_INTEGER


@pytest.mark.parametrize("data", [b'"\xff"', b'"\xc3"', b'"\xed\xa0\x80"', b"\xef\xbb\xbf1"])
def test_bytes_that_are_not_plain_utf8_are_refused(data: bytes) -> None:
    with pytest.raises(JsonNotUtf8Error):
        read_json(data)


@pytest.mark.parametrize(
    "text", ["", "{", "{}{}", "[1,]", "{'a':1}", "01", "+1", "1.", "nul", '"\n"', "{} x"]
)
def test_what_is_not_one_json_value_is_refused(text: str) -> None:
    with pytest.raises(JsonMalformedError):
        read_json(text.encode())


def test_half_a_surrogate_pair_is_refused() -> None:
    with pytest.raises(JsonLoneSurrogateError):
        read_json(b'"\\ud800"')
    with pytest.raises(JsonLoneSurrogateError):
        canonical_text("\ud800")


def test_a_whole_surrogate_pair_is_one_character() -> None:
    assert read_json(b'"\\ud83d\\ude02"') == "\U0001f602"


def test_64_kib_are_refused_and_one_byte_less_is_taken() -> None:
    fits = b'"' + b"a" * (LARGEST_TEXT_BYTES - 2) + b'"'
    assert len(read_json(fits)) == LARGEST_TEXT_BYTES - 2
    with pytest.raises(JsonTooLongError):
        read_json(fits + b" ")


def test_deep_nesting_is_refused_and_does_not_end_the_program() -> None:
    with pytest.raises(JsonTooDeepError):
        read_json(b"[" * 30_000 + b"]" * 30_000)
    nested: list[Any] = []
    for _ in range(100):
        nested = [nested]
    with pytest.raises(JsonTooDeepError):
        canonical_text(nested)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e-9, 1.5e300])
def test_a_number_without_a_plain_spelling_is_not_written(value: float) -> None:
    with pytest.raises((JsonNotANumberError, JsonIntegerTooLargeError)):
        canonical_text(value)


@pytest.mark.parametrize("value", [b"bytes", {1: 2}, {"a": {1, 2}}, object()])
def test_a_value_that_json_does_not_know_is_not_written(value: Any) -> None:
    with pytest.raises(JsonCannotWriteError):
        canonical_text(value)


@given(st.binary(max_size=200))
def test_any_bytes_are_either_read_or_refused_by_name(data: bytes) -> None:
    try:
        value = read_json(data)
    except REFUSALS:
        return
    assert json.loads(data) == value


REFUSALS = (
    JsonMalformedError,
    JsonNotUtf8Error,
    JsonNotANumberError,
    JsonIntegerTooLargeError,
    JsonRepeatedNameError,
    JsonLoneSurrogateError,
    JsonTooDeepError,
)
