"""Proof of reach: signed, bound to a nonce, with a challenge that ages by the server's clock."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from webapp.proof.keys.jws import DeviceKey
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.intake.errors import ChallengeRefused
from webapp.web.tablet.signed_answers import challenge, check_challenge, reach, receipts

NOW = datetime(2026, 11, 25, 8, 3, 12, 345_000, tzinfo=UTC)
NONCE = "bm9uY2Utb2YtYS10YWJsZXQ"


@pytest.fixture(scope="module")
def keyring(tmp_path_factory: pytest.TempPathFactory) -> KeyRing:
    folder: Path = tmp_path_factory.mktemp("keys")
    return KeyRing.create(folder, "a passphrase for the tests", common_name="Test shop", now=NOW)


def test_the_answer_to_reach_is_signed_by_the_receipt_key_and_carries_the_nonce(keyring: KeyRing) -> None:
    answer = reach(keyring, NONCE, "version-1", NOW)["answer"]
    verified = DeviceKey.from_jwk(keyring.receipt_jwk).verify(answer, "zerokeep-reach+jws")
    payload = json.loads(verified.payload_bytes)
    assert payload["domain"] == "zerokeep/reach/1"
    assert payload["nonce"] == NONCE
    assert payload["shell"] == "version-1"
    assert payload["at_utc"] == "2026-11-25T08:03:12.345Z"
    assert payload["certificate"] is None
    check_challenge(keyring, payload["challenge"], NOW)


def test_the_answer_says_from_when_to_when_the_certificate_that_is_shown_holds(keyring: KeyRing) -> None:
    days = (NOW - timedelta(days=1), NOW + timedelta(days=397))
    answer = reach(keyring, NONCE, "version-1", NOW, certificate=days)["answer"]
    payload = json.loads(
        DeviceKey.from_jwk(keyring.receipt_jwk).verify(answer, "zerokeep-reach+jws").payload_bytes
    )
    assert payload["certificate"] == {
        "from_utc": "2026-11-24T08:03:12.345Z",
        "until_utc": "2027-12-27T08:03:12.345Z",
    }


@pytest.mark.parametrize("nonce", ["", "short", "with blanks in the middle", "x" * 87, "naïve-naïve-naïve-n"])
def test_a_nonce_that_is_no_nonce_is_refused(keyring: KeyRing, nonce: str) -> None:
    with pytest.raises(ChallengeRefused):
        reach(keyring, nonce, "version-1", NOW)


@pytest.mark.parametrize("age_s", [0, 1, 299, 300])
def test_a_challenge_holds_for_five_minutes(keyring: KeyRing, age_s: int) -> None:
    check_challenge(keyring, challenge(keyring, NOW), NOW + timedelta(seconds=age_s))


@pytest.mark.parametrize("age_s", [301, 3600, 10**7, -2])
def test_an_old_challenge_and_one_from_the_future_are_refused(keyring: KeyRing, age_s: int) -> None:
    with pytest.raises(ChallengeRefused):
        check_challenge(keyring, challenge(keyring, NOW), NOW + timedelta(seconds=age_s))


@pytest.mark.parametrize(
    "text", ["", ".", "no tag", "2026-11-25T08:03:12.345Z.", "2026-11-25T08:03:12.345Z.AAAA", "é.é"]
)
def test_a_challenge_that_is_not_ours_is_refused(keyring: KeyRing, text: str) -> None:
    with pytest.raises(ChallengeRefused):
        check_challenge(keyring, text, NOW)


def test_a_challenge_with_another_time_under_the_same_tag_is_refused(keyring: KeyRing) -> None:
    tag = challenge(keyring, NOW).rpartition(".")[2]
    with pytest.raises(ChallengeRefused):
        check_challenge(keyring, f"2026-11-25T09:03:12.345Z.{tag}", NOW + timedelta(hours=1))


def test_receipts_are_one_signed_text_over_all_entries(keyring: KeyRing) -> None:
    entries = [{"event": "0" * 64, "outcome": "accepted"}]
    text = receipts(keyring, entries, NOW)
    verified = DeviceKey.from_jwk(keyring.receipt_jwk).verify(text, "zerokeep-receipt+jws")
    assert json.loads(verified.payload_bytes)["receipts"] == entries
