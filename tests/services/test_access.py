"""Signing in, sessions, and the rules of secrets."""

from hashlib import sha256
from hmac import HMAC
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.kit.house import House
from tests.kit.shop import PASSPHRASES, PINS
from webapp.services.errors import NoSuchPerson, RoleMissing
from webapp.services.people import access, accounts, throttle
from webapp.services.people.errors import (
    PassphraseGuessable,
    PassphraseTooLong,
    PassphraseTooShort,
    PassphraseUnchanged,
    PinForm,
    PinGuessable,
    SignInRefused,
    TooManyTries,
)
from webapp.services.people.secret_digests import secret_digest
from webapp.services.people.secret_rules import check_passphrase, check_pin

NEW = "eleven wet boots by the oven"
TOKEN = "token"
FIRST = "brittle cobalt umbrella morning"


def sign_in(
    house: House,
    person: str = "mara",
    passphrase: str | None = None,
    token: str = TOKEN,
    source: str = "desk",
) -> Any:
    typed = PASSPHRASES[person] if passphrase is None else passphrase
    return access.sign_in(house.store, person, typed, house.clock(), token, source)


def session(house: House, token: str = TOKEN) -> Any:
    return access.session(house.store, token, house.clock())


def test_the_right_passphrase_starts_a_session(house: House) -> None:
    started = sign_in(house)
    assert started["person"] == "mara"
    assert session(house) == started


def test_only_the_hash_of_a_token_is_stored(house: House) -> None:
    sign_in(house, token="a token that nobody else has")
    house.store.close()
    assert b"a token that nobody else has" not in house.kept()


@pytest.mark.parametrize(
    ("person", "passphrase"), [("mara", "wrong"), ("nobody", "wrong"), ("", ""), ("mara", "x" * 5000)]
)
def test_a_wrong_name_and_a_wrong_passphrase_get_the_same_answer(
    house: House, person: str, passphrase: str
) -> None:
    with pytest.raises(SignInRefused) as refused:
        sign_in(house, person, passphrase)
    assert refused.value.fields == {}


def test_a_disabled_account_gets_the_same_answer(house: House) -> None:
    accounts.disable_person(house.store, "mara", "Left.", "ines", house.clock())
    with pytest.raises(SignInRefused):
        sign_in(house)


def test_what_was_typed_as_a_name_never_reaches_the_ledger(house: House) -> None:
    with pytest.raises(SignInRefused):
        sign_in(house, PASSPHRASES["mara"], "x")
    with house.store.reading():
        texts = [row["text"] for row in house.store.ledger.changes(kind="sign_in.refused")]
    assert len(texts) == 1
    assert PASSPHRASES["mara"] not in texts[0]


def test_wrong_passphrases_make_the_next_try_wait_longer_and_longer(house: House) -> None:
    waits = []
    for _ in range(12):
        try:
            sign_in(house, passphrase="wrong")
        except TooManyTries as refused:
            waits.append(refused.fields["seconds"])
            house.clock.forward(seconds=refused.fields["seconds"])
        except SignInRefused:
            pass
    assert waits == [15, 30, 60, 120]


def test_an_unknown_name_is_made_to_wait_like_a_known_one(house: House) -> None:
    def outcomes(person: str) -> Any:
        found = []
        for _ in range(7):
            try:
                sign_in(house, person, "wrong", source=f"room of {person}")
            except (TooManyTries, SignInRefused) as refused:
                found.append((type(refused), refused.fields))
        return found

    assert outcomes("nobody") == outcomes("mara")


def test_a_passphrase_that_was_typed_as_a_name_is_not_kept_in_the_database(house: House) -> None:
    with pytest.raises(SignInRefused):
        sign_in(house, "the rain fell on quiet barns", "odile")
    house.store.close()
    stored = house.kept()
    assert b"quiet barns" not in stored


def test_the_victim_of_guesses_from_one_place_signs_in_from_another(house: House) -> None:
    for _ in range(8):
        with pytest.raises((SignInRefused, TooManyTries)):
            sign_in(house, passphrase="wrong", source="10.0.0.9")
    assert sign_in(house, source="10.0.0.7")["person"] == "mara"


def guessed_by_strangers(house: House, person: str = "mara", times: int = 500) -> None:
    """What the store holds after so many wrong passphrases from all over."""
    with house.store.writing():
        for _ in range(times):
            house.store.access.fail(f"passphrase:{person}:anywhere", house.clock.text)


def test_guesses_slow_down_and_never_lock_anybody_out(house: House) -> None:
    guessed_by_strangers(house)
    with pytest.raises(TooManyTries) as refused:
        sign_in(house, source="10.0.0.7")
    assert refused.value.fields["seconds"] <= throttle.HOUR
    house.clock.forward(seconds=throttle.HOUR + 1)
    assert sign_in(house, source="10.0.0.7")["person"] == "mara"


def test_guesses_are_forgotten_after_a_day(house: House) -> None:
    guessed_by_strangers(house)
    house.clock.forward(days=1, seconds=1)
    with pytest.raises(SignInRefused):
        sign_in(house, passphrase="wrong", source="10.0.0.7")
    assert sign_in(house, source="10.0.0.7")["person"] == "mara"


def test_where_somebody_has_signed_in_lately_strangers_elsewhere_do_not_count(house: House) -> None:
    sign_in(house, source="10.0.0.7")
    guessed_by_strangers(house)
    with house.store.writing():
        for _ in range(200):
            house.store.access.fail("source:10.0.0.7", house.clock.text)
    assert sign_in(house, source="10.0.0.7", token="b" * 43)["person"] == "mara"
    with pytest.raises(TooManyTries):
        sign_in(house, source="10.0.0.8")
    house.clock.forward(days=30, seconds=-30)
    guessed_by_strangers(house)
    house.clock.forward(seconds=31)
    with pytest.raises(TooManyTries):
        sign_in(house, source="10.0.0.7")


def test_guesses_where_somebody_signs_in_wait_there_all_the_same(house: House) -> None:
    sign_in(house, source="10.0.0.7")
    for _ in range(8):
        with pytest.raises((SignInRefused, TooManyTries)):
            sign_in(house, passphrase="wrong", source="10.0.0.7")
    with pytest.raises(TooManyTries):
        sign_in(house, source="10.0.0.7")


def test_new_first_secrets_end_every_wait(house: House) -> None:
    guessed_by_strangers(house)
    access.set_first_secrets(house.store, house.keyring, "mara", "ines", house.clock(), FIRST, "271936")
    assert sign_in(house, passphrase=FIRST)["must_change"]


def test_a_right_secret_does_not_wipe_the_count_of_a_tablet_or_an_address(house: House) -> None:
    """Somebody with an account of their own guesses at another's, and signs in between."""
    with house.store.writing():
        for subject in ("source:10.0.0.9", "device:d"):
            for _ in range(10):
                house.store.access.fail(subject, house.clock.text)
    sign_in(house, source="10.0.0.9")
    with house.store.writing():
        throttle.was_right(house.store, throttle.pin_subjects("mara", "d", "s"))
        left = {subject: house.store.access.failures(subject) for subject in ("source:10.0.0.9", "device:d")}
    assert {subject: row and row["failures"] for subject, row in left.items()} == {
        "source:10.0.0.9": 10,
        "device:d": 9,
    }


def test_throttles_are_never_looser_than_the_agreed_ones() -> None:
    """A PIN stops; a passphrase leaves some two dozen guesses a day beyond the free ones."""
    assert (throttle.PIN_ANYWHERE.stop, throttle.PIN_ON_DEVICE.stop) == (10, 8)
    for limit in (throttle.PASSPHRASE_ANYWHERE, throttle.PASSPHRASE_FROM_SOURCE, throttle.SOURCE):
        assert limit.stop is None
        assert limit.free <= 20
        assert limit.longest_wait_seconds >= 900
    assert throttle.DAY / throttle.PASSPHRASE_ANYWHERE.longest_wait_seconds <= 24


def test_a_session_ends_when_it_is_not_used(house: House) -> None:
    sign_in(house)
    house.clock.forward(minutes=29)
    assert session(house)
    house.clock.forward(minutes=29)
    assert session(house)
    house.clock.forward(minutes=31)
    assert session(house) is None
    house.clock.forward(minutes=-31)
    assert session(house) is None


def test_a_session_that_was_not_used_for_just_its_time_goes_on_and_a_moment_later_it_is_over(
    house: House,
) -> None:
    sign_in(house)
    house.clock.forward(minutes=30)
    assert session(house)
    house.clock.forward(minutes=30, milliseconds=1)
    assert session(house) is None


def test_when_a_session_was_last_used_is_written_down_each_half_minute(house: House) -> None:
    def seen() -> str | None:
        with house.store.reading():
            row = house.store.access.session(access.token_hash(TOKEN))
        return row["seen_at_utc"] if row else None

    sign_in(house)
    first = seen()
    house.clock.forward(seconds=29)
    assert session(house)
    assert seen() == first
    house.clock.forward(seconds=1)
    assert session(house)
    assert seen() == house.clock.text != first


def test_a_session_ends_after_its_longest_time_however_much_it_is_used(house: House) -> None:
    sign_in(house)
    for _ in range(25):
        house.clock.forward(minutes=25)
        session(house)
    assert session(house) is None


def test_a_session_of_just_its_longest_time_goes_on_and_a_moment_later_it_is_over(house: House) -> None:
    sign_in(house)
    for _ in range(20):
        house.clock.forward(minutes=30)
        assert session(house)
    house.clock.forward(milliseconds=1)
    assert session(house) is None


def test_signing_out_ends_the_session_on_the_server(house: House) -> None:
    sign_in(house)
    access.sign_out(house.store, "token", house.clock())
    assert session(house) is None


def test_an_unknown_token_is_nobody(house: House) -> None:
    assert session(house, "never given") is None


def test_disabling_somebody_ends_their_sessions_at_once(house: House) -> None:
    sign_in(house)
    accounts.disable_person(house.store, "mara", "Left.", "ines", house.clock())
    accounts.enable_person(house.store, "mara", "Came back.", "ines", house.clock())
    assert session(house) is None


def test_a_new_passphrase_ends_all_sessions_and_takes_the_place_of_the_old(house: House) -> None:
    sign_in(house)
    access.change_passphrase(house.store, "mara", PASSPHRASES["mara"], NEW, house.clock())
    assert session(house) is None
    assert sign_in(house, passphrase=NEW, token="another")
    with pytest.raises(SignInRefused):
        sign_in(house, token="third")


def test_changing_the_passphrase_needs_the_old_one(house: House) -> None:
    with pytest.raises(SignInRefused):
        access.change_passphrase(house.store, "mara", "wrong", NEW, house.clock())


def test_the_same_passphrase_is_no_change(house: House) -> None:
    old = PASSPHRASES["mara"]
    with pytest.raises(PassphraseUnchanged):
        access.change_passphrase(house.store, "mara", old, old, house.clock())


def test_a_new_pin_needs_the_passphrase_and_takes_the_place_of_the_old(house: House) -> None:
    with pytest.raises(SignInRefused):
        access.change_pin(house.store, house.keyring, "mara", "wrong", "864197", house.clock())
    access.change_pin(house.store, house.keyring, "mara", PASSPHRASES["mara"], "864197", house.clock())
    check = [
        access.verify_pin(house.store, house.keyring, "mara", "t", "s", pin, house.clock())
        for pin in ("864197", PINS["mara"])
    ]
    assert check == ["verified", "wrong_pin"]


def test_first_secrets_have_to_be_changed_and_end_after_a_week(house: House) -> None:
    access.set_first_secrets(house.store, house.keyring, "mara", "ines", house.clock(), FIRST, "271936")
    assert sign_in(house, passphrase=FIRST)["must_change"]
    house.clock.forward(days=8)
    with pytest.raises(SignInRefused):
        sign_in(house, passphrase=FIRST, token="another")


def test_changed_first_secrets_last(house: House) -> None:
    access.set_first_secrets(house.store, house.keyring, "mara", "ines", house.clock(), FIRST, "271936")
    access.change_passphrase(house.store, "mara", FIRST, NEW, house.clock())
    house.clock.forward(days=300)
    assert not sign_in(house, passphrase=NEW)["must_change"]


def test_only_a_lead_gives_first_secrets(house: House) -> None:
    with pytest.raises(RoleMissing):
        access.set_first_secrets(house.store, house.keyring, "ivo", "mara", house.clock(), FIRST, "271936")


def test_nobody_gets_first_secrets_who_is_not_there(house: House) -> None:
    with pytest.raises(NoSuchPerson):
        access.set_first_secrets(house.store, house.keyring, "nobody", "ines", house.clock(), FIRST, "271936")


def test_a_passphrase_is_compared_in_one_unicode_form(house: House) -> None:
    composed, decomposed = "caf\u00e9 f\u00fcr alle am Hafen", "cafe\u0301 fu\u0308r alle am Hafen"
    access.change_passphrase(house.store, "mara", PASSPHRASES["mara"], composed, house.clock())
    assert sign_in(house, passphrase=decomposed)


@pytest.mark.parametrize(
    ("stored", "salt"),
    [
        pytest.param("$argon2id$v=19$m=64,t=1,p=1$c2FsdA$aGFzaA", b"c2FsdA", id="whole"),
        pytest.param("$argon2id$v=19$m=64,t=1,p=1$c2FsdA", b"c2FsdA", id="cut behind the salt"),
        pytest.param("$argon2id$v=19$m=64,t=1,p=1", b"", id="cut before the salt"),
        pytest.param("", b"", id="empty"),
    ],
)
def test_the_ledgers_digest_of_a_secret_is_keyed_with_its_salt_and_a_damaged_hash_has_one_too(
    stored: str, salt: bytes
) -> None:
    """Worked out by the standard library alone: HMAC-SHA-256 (RFC 2104)."""
    wanted = HMAC(salt, f"mara\n{stored}".encode(), sha256).hexdigest()
    assert secret_digest("mara", stored) == wanted


@pytest.mark.parametrize("short", ["", "x", "fourteen chars"])
def test_a_short_passphrase_is_refused(short: str) -> None:
    with pytest.raises(PassphraseTooShort):
        check_passphrase(short)


def test_a_passphrase_of_128_characters_is_taken_and_one_more_is_not() -> None:
    words = "".join(chr(0x4E00 + (7 * number * number + number) % 977) for number in range(128))
    assert check_passphrase(words) == words
    with pytest.raises(PassphraseTooLong):
        check_passphrase(words + "q")


@pytest.mark.parametrize(
    "typed",
    [
        "passwordpassword",
        "aaaaaaaaaaaaaaaaaaaa",
        "abcabcabcabcabcabc",
        "abcdefghijklmnop",
        "98765432109876543",
        "qwertyuiopasdfgh",
        "1987-05-03 03.05.1987",
        "Mara Okafor Mara Okafor",
        "kettle lane workshop",
        "spindle probe vise 2026",
    ],
)
def test_a_passphrase_of_what_a_guess_starts_with_is_refused(typed: str) -> None:
    with pytest.raises(PassphraseGuessable):
        check_passphrase(typed, ["mara", "Mara Okafor", "Kettle Lane Workshop"])


def test_only_letters_that_follow_each_other_are_a_sequence_and_not_every_other_one() -> None:
    assert check_passphrase("prtvxz bdfhjl mk") == "prtvxz bdfhjl mk"
    with pytest.raises(PassphraseGuessable):
        check_passphrase("pqrstu bcdefg mk")


@pytest.mark.parametrize("typed", [NEW, FIRST, *PASSPHRASES.values(), "Wenn der Regen kommt, singt niemand"])
def test_a_passphrase_of_plain_words_is_taken(typed: str) -> None:
    assert check_passphrase(typed, ["mara", "Mara Okafor"]) == typed


@pytest.mark.parametrize(
    "typed", ["", "12345", "1234567890123", "12345a", "１２３４５６", "12 3456", "-12345"]
)
def test_a_pin_is_six_to_twelve_digits(typed: str) -> None:
    with pytest.raises(PinForm):
        check_pin(typed)


@pytest.mark.parametrize(
    "typed",
    ["111111", "121212", "123123", "123456", "987654", "890123", "135791", "112233", "147258", "159753",
     "030587", "870503", "050387", "19870503", "03051987", "246802", "99999999",
     "20261130", "30112026", "30102026", "11302026", "19991020", "113026", "301126", "261130",
     "301087", "871030", "290280", "022980", "11223344", "889900"],
)  # fmt: skip
def test_a_pin_that_anybody_would_try_first_is_refused(typed: str) -> None:
    with pytest.raises(PinGuessable):
        check_pin(typed)


@pytest.mark.parametrize(
    "typed",
    [
        pytest.param("114488", id="pairs that follow no rule"),
        pytest.param("112233445", id="pairs and one digit more"),
        pytest.param("310299", id="a day that no month has"),
        pytest.param("20261301", id="a month that no year has"),
        pytest.param("18991231", id="a day before the years that people are born in"),
        pytest.param("271936271945", id="as long as a PIN may be"),
    ],
)
def test_a_pin_that_only_looks_like_one_of_the_first_guesses_is_taken(typed: str) -> None:
    assert check_pin(typed) == typed


# Eight characters of six kinds have to be left when "password", which is a guess, is taken away.
@pytest.mark.parametrize(
    ("left", "taken"),
    [
        ("brtmxgkd", True),
        ("brtmxgk", False),
        ("brtmxgbr", True),
        ("brtmxbrt", False),
        ("abcmxgkd", True),
        ("abcdmxgkd", False),
        ("okbrtmxg", True),
        ("odobrtmx", False),
    ],
    ids=[
        "eight",
        "seven",
        "six kinds",
        "five kinds",
        "three in a row",
        "four in a row",
        "a word of two letters",
        "a name of three letters",
    ],
)
def test_what_is_left_of_a_passphrase_without_its_guesses_decides(left: str, taken: bool) -> None:
    typed = f"password{left}"
    if taken:
        assert check_passphrase(typed, ["odo", "ok"]) == typed
    else:
        with pytest.raises(PassphraseGuessable):
            check_passphrase(typed, ["odo", "ok"])


@given(st.integers(1, 9), st.integers(6, 12))
def test_no_repeated_digit_is_ever_a_pin(digit: int, length: int) -> None:
    with pytest.raises(PinGuessable):
        check_pin(str(digit) * length)
