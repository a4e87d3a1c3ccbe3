"""Every refusal of the proof room has a sentence, with all its fields."""

import re
from pathlib import Path

import pytest

from webapp.proof.errors import JwsRefused, PinSealRefused
from webapp.proof.report import Report, failed, held
from webapp.words import NoWordsError, catalogue

ROOT = Path(__file__).resolve().parents[2]


def test_a_refusal_reads_as_its_sentence() -> None:
    assert str(JwsRefused("jws.signature_form", bytes=71)).startswith("The signature has 71 bytes.")
    why = PinSealRefused("pin_seal.malformed", why_code="pin_seal.why.pin")
    assert str(why) == "The sealed PIN cannot be read: it holds no PIN of a usable length."


def test_a_refusal_without_words_is_a_fault_of_the_program() -> None:
    with pytest.raises(NoWordsError):
        str(JwsRefused("jws.nobody_wrote_this"))


def test_every_question_of_a_report_has_words() -> None:
    asked = {code.rpartition(".")[0] for code in catalogue() if code.endswith(".asked")}
    source = "".join(path.read_text() for path in (ROOT / "webapp/proof").glob("*.py"))
    names = set(re.findall(r'(?:held|failed)\(\s*f?"((?:record|seal|file)\.[a-z_]+)"', source))
    names |= {f"record.{name}" for name in ("chain", "belongs", "signed", "reviewed")}
    assert names <= asked, names - asked


def test_a_report_in_a_terminal_has_three_states_each_with_its_sign() -> None:
    lines = (
        held("record.chain", events=3),
        failed("record.events", "none"),
        failed("record.signed", "not_asked"),
    )
    text = Report(lines).as_text().splitlines()
    assert text == [
        "Something does not hold. Do not rely on this file.",
        "= holds          Do the events follow each other without a gap?",
        "                 The 3 events follow each other without a gap.",
        "× FAILS          Did a listed tablet sign every event?",
        "                 The record holds no events.",
        "– not looked at  Did operator and lead both sign?",
        "                 The persons' signatures were not looked at, since the events do not hold.",
    ]
    assert [line["state"] for line in Report(lines).as_dict()["lines"]] == ["holds", "fails", "not_looked_at"]


def test_a_line_that_was_not_looked_at_does_not_hold() -> None:
    assert not Report((failed("record.signed", "not_asked"),)).holds
