"""Canonical JSON against values from outside.

Source of the values in data/rfc8785.json: RFC 8785 (2020), section 3.2 and appendix B, and the test data of
its author, read in the PyPI source distribution rfc8785 0.1.4 (Apache-2.0) and, the same, in the public
repository cyberphone/json-canonicalization (Apache-2.0). Facts only: inputs and expected bytes.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import pytest

from webapp.domain.plain.json_strict import (
    JsonIntegerTooLargeError,
    JsonNotANumberError,
    canonical_bytes,
    read_json,
)

PUBLISHED: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "rfc8785.json").read_text(encoding="utf-8")
)
# Holds 1E30 and 1e-27, which are refused here by design.
WITH_EXPONENTS = "values"


@pytest.mark.parametrize("name", sorted(PUBLISHED["documents"].keys() - {WITH_EXPONENTS}))
def test_a_published_document_is_written_as_published(name: str) -> None:
    document = PUBLISHED["documents"][name]
    assert canonical_bytes(read_json(document["input_json_text"].encode())).hex() == document["output_hex"]


def test_the_published_texts_and_plain_numbers_are_written_as_published() -> None:
    document = PUBLISHED["documents"][WITH_EXPONENTS]
    value = read_json(document["input_json_text"].encode())
    with pytest.raises((JsonIntegerTooLargeError, JsonNotANumberError)):
        canonical_bytes(value)
    expected = bytes.fromhex(document["output_hex"]).decode()
    value["numbers"] = [number for number in value["numbers"] if 1e-6 < number < 1e21]
    assert len(value["numbers"]) == 3
    assert canonical_bytes(value).decode() == expected.replace(",1e+30", "").replace(",1e-27", "")


@pytest.mark.parametrize(("bits", "expected"), PUBLISHED["numbers"])
def test_a_published_number_is_written_as_published_or_refused(bits: str, expected: str | None) -> None:
    number = struct.unpack(">d", bytes.fromhex(bits))[0]
    # None stands for NaN and Infinity, which RFC 8785 refuses too.
    is_plain = expected is not None and "e" not in expected and abs(number) < 2**53
    if is_plain and (number.is_integer() or abs(number) >= 1e-4):
        assert canonical_bytes(number).decode() == expected
    else:
        with pytest.raises((JsonIntegerTooLargeError, JsonNotANumberError)):
            canonical_bytes(number)
