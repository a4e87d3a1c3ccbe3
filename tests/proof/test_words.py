"""Every refusal of the proof room has a sentence, with all its fields."""

import pytest

from webapp.proof.errors import JwsRefused, PinSealRefused
from webapp.words import NoWordsError


def test_a_refusal_reads_as_its_sentence() -> None:
    assert str(JwsRefused("jws.signature_form", bytes=71)).startswith("The signature has 71 bytes.")
    why = PinSealRefused("pin_seal.malformed", why_code="pin_seal.why.pin")
    assert str(why) == "The sealed PIN cannot be read: it holds no PIN of a usable length."


def test_a_refusal_without_words_is_a_fault_of_the_program() -> None:
    with pytest.raises(NoWordsError):
        str(JwsRefused("jws.nobody_wrote_this"))
