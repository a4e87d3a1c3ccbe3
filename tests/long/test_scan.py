"""What `python -m tests.long scan` takes for argued, and what not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from tests.long.scan import CSRF, Finding, argument

UNCHECKED = Finding(CSRF, "POST", "/desk", "", "CSRF token 'csrf_token' is not properly checked in backend")


@dataclass
class Answering:
    """A server that answers every form with one status."""

    status: int

    def post(self, _: str, fields: dict[str, str]) -> int:
        assert fields["csrf_token"]
        return self.status


@pytest.mark.parametrize(
    "finding",
    [
        Finding("SQL Injection", "GET", "/desk/setups", "machine", "SQL Injection via injection in machine"),
        Finding("Clickjacking Protection", "GET", "/", "", "X-Frame-Options is set to something else"),
        Finding(
            "HTTP Methods", "GET", "/", "", "Possible interesting methods (using OPTIONS) on /: PUT (200)"
        ),
    ],
    ids=lambda finding: finding.kind,
)
def test_what_is_not_argued_in_these_words_is_a_finding(finding: Finding) -> None:
    asked: Any = Answering(400)
    assert argument(finding, asked) is None


@pytest.mark.parametrize("refused", ["OPTIONS (405)", "OPTIONS (405) POST (400)"])
def test_methods_that_are_refused_are_no_finding(refused: str) -> None:
    asked: Any = Answering(400)
    words = f"Possible interesting methods (using OPTIONS) on https://127.0.0.2:1/sign-in: {refused}"
    assert argument(Finding("HTTP Methods", "GET", "/sign-in", "", words), asked) is not None
    assert argument(Finding("HTTP Methods", "GET", "/sign-in", "", f"{words} PUT (200)"), asked) is None


@pytest.mark.parametrize(("status", "argued"), [(400, True), (200, False), (303, False), (500, False)])
def test_a_token_that_is_said_to_be_unchecked_is_tried_again(status: int, argued: bool) -> None:
    asked: Any = Answering(status)
    assert (argument(UNCHECKED, asked) is not None) is argued
