"""What a passphrase and a PIN must be, and how they are kept.

Rules:
- a passphrase stands alone, so it has at least 15 characters (NIST SP 800-63B-4), at most 128, any of them,
  compared in Unicode form NFC; no composition rules and no periodic change (OWASP ASVS 5.0, 6.2.5, 6.2.8 to
  6.2.10);
- what is easy to guess does not count: own name and id, words of the shop, dates, repeats,
  sequences (6.2.4, 6.2.11, 6.2.12). What is left over must still have eight characters;
- a PIN has 6 to 12 digits, never a repeat, a sequence, a walk over the keys or a date.
  It is good for a signature from an enrolled tablet only, never for signing in;
- both are kept as argon2id with 46 MiB and one pass (11.4.2; the OWASP password storage sheet's first choice,
  from memory). A PIN is first keyed with the server's pepper (HMAC-SHA-256), so the database alone cannot be
  searched for it.

Decision: a PIN of six to twelve digits is a deviation from NIST SP 800-63B-4, which asks fifteen characters
of a secret that stands alone and is checked by a server. People sign at a mill, with wet fingers, on a
shared tablet; a passphrase there would be short, or written on the tablet. So a PIN signs one setup, only
from an enrolled tablet whose key signed the event, sealed to event, tablet and person; one try and three
retries a signing, eight wrong in a row on one tablet, ten anywhere, offline tries included. What remains:
whoever sees a PIN typed and holds the tablet can sign as that person until it is changed; the lead's sign-
off, with a passphrase, limits what that is worth.
"""

import hmac
import re
import threading
import unicodedata
from collections.abc import Iterable
from datetime import date
from functools import cache
from hashlib import sha256
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError, VerifyMismatchError

from webapp.services.people.errors import (
    PassphraseGuessable,
    PassphraseTooLong,
    PassphraseTooShort,
    PinForm,
    PinGuessable,
    SecretNotChecked,
)

SHORTEST_PASSPHRASE = 15
LONGEST_PASSPHRASE = 128
LEAST_UNGUESSABLE = 8
LEAST_DIFFERENT = 6
SHORTEST_PIN = 6
LONGEST_PIN = 12
AT_ONCE = 2

# Words that a guess would start with in this trade and this program, longest first where one holds another.
TRADE_WORDS = (
    "passphrase", "password", "passwort", "workshop", "workoffset", "zerokeep", "welcome", "machine",
    "machining", "spindle", "fixture", "operator", "offset", "vise", "probe", "stylus", "mill", "shop",
    "setup", "admin", "secret", "letmein", "lead",
)  # fmt: skip
KEY_ROWS = ("qwertyuiop", "qwertzuiop", "asdfghjkl", "zxcvbnm", "yxcvbnm", "azertyuiop")
KEY_WALKS = (
    "147258369",
    "258369147",
    "159753",
    "159357",
    "357159",
    "753951",
    "951753",
    "123654789",
    "789456123",
)
DATES = re.compile(
    r"(?:19|20)\d\d[-./ ]?\d\d?[-./ ]?\d\d?|\d\d?[-./ ]\d\d?[-./ "
    r"](?:19|20)?\d\d|\d{4}(?:19|20)\d\d|(?:19|20)\d\d"
)
RUN_LENGTH = 4

_HASHER = PasswordHasher(time_cost=1, memory_cost=46 * 1024, parallelism=1)
# Each hash fills 46 MiB; more of them at once than processors would only fill memory.
_AT_ONCE = threading.BoundedSemaphore(AT_ONCE)


def check_passphrase(passphrase: str, own_words: Iterable[str] = ()) -> str:
    """The passphrase in the form that is hashed.
    `own_words` are the person's id and name and the shop's name.

    Raises PassphraseTooShort, PassphraseTooLong, PassphraseGuessable.
    """
    text = normal_form(passphrase)
    if len(text) < SHORTEST_PASSPHRASE:
        raise PassphraseTooShort(characters=len(text), least=SHORTEST_PASSPHRASE)
    if len(text) > LONGEST_PASSPHRASE:
        raise PassphraseTooLong(characters=len(text), most=LONGEST_PASSPHRASE)
    rest = _without_guessable(text.casefold(), own_words)
    if len(rest) < LEAST_UNGUESSABLE or len(set(rest)) < LEAST_DIFFERENT:
        raise PassphraseGuessable(least=LEAST_UNGUESSABLE)
    return text


def check_pin(pin: str) -> str:
    """The same PIN. Raises PinForm for anything but 6 to 12 digits,
    PinGuessable for one of the first guesses.
    """
    if not re.fullmatch(f"[0-9]{{{SHORTEST_PIN},{LONGEST_PIN}}}", pin, re.ASCII):
        raise PinForm(least=SHORTEST_PIN, most=LONGEST_PIN)
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    walked = any(pin in walk + walk or pin in walk[::-1] * 2 for walk in KEY_WALKS)
    if len(steps) == 1 or _period(pin) < len(pin) or _is_pairs(pin) or walked or _is_date(pin):
        raise PinGuessable
    return pin


def normal_form(passphrase: str) -> str:
    """The passphrase in Unicode form NFC, as it is compared."""
    return unicodedata.normalize("NFC", passphrase)


def hash_passphrase(passphrase: str) -> str:
    """What is stored of a passphrase, in the PHC string form of argon2."""
    with _AT_ONCE:
        return _HASHER.hash(normal_form(passphrase))


def passphrase_fits(stored: str | None, passphrase: str) -> bool:
    """Whether it is this passphrase. With nothing stored the answer is no, after the same work."""
    return _fits(stored, normal_form(passphrase)[: LONGEST_PASSPHRASE + 1])


def hash_pin(pepper: bytes, person_id: str, pin: str) -> str:
    """What is stored of a PIN."""
    with _AT_ONCE:
        return _HASHER.hash(_peppered(pepper, person_id, pin))


def pin_fits(stored: str | None, pepper: bytes, person_id: str, pin: str) -> bool:
    """Whether it is this person's PIN. With nothing stored the answer is no, after the same work."""
    return _fits(stored, _peppered(pepper, person_id, pin))


def _fits(stored: str | None, secret: str | bytes) -> bool:
    with _AT_ONCE:
        try:
            _HASHER.verify(stored or _nobodys_hash(), secret)
        except (VerifyMismatchError, InvalidHashError):
            return False
        except VerificationError as error:
            raise SecretNotChecked from error
    return stored is not None


@cache
def _nobodys_hash() -> str:
    return _HASHER.hash(b"the passphrase of nobody")


def _peppered(pepper: bytes, person_id: str, pin: str) -> bytes:
    return hmac.new(pepper, f"zerokeep/pin/1\0{person_id}\0{pin}".encode(), sha256).digest()


def _without_guessable(text: str, own_words: Iterable[str]) -> str:
    """What is left of a passphrase after everything that a guess would start with."""
    own = (part for word in own_words for part in (word, *re.split(r"\W+", word)))
    words = {word.casefold() for word in (*TRADE_WORDS, *own) if len(word) > 2}
    for word in sorted(words, key=len, reverse=True):
        text = text.replace(word, "")
    text = _without_runs(DATES.sub("", text))
    return text[: _period(text)] if text else text


def _without_runs(text: str) -> str:
    """The text without stretches of four and more that go up, down, stay, or follow a row of keys."""
    kept: list[str] = []
    stretch = text[:1]
    for before, after in pairwise(text):
        if len(stretch) == 1 or _step(stretch[-2], stretch[-1]) == _step(before, after):
            going_on = _step(before, after) is not None
        else:
            going_on = False
        if going_on:
            stretch += after
        else:
            kept.append(_short(stretch))
            stretch = after
    return "".join([*kept, _short(stretch)])


def _short(stretch: str) -> str:
    return stretch if len(stretch) < RUN_LENGTH else ""


def _step(before: str, after: str) -> int | None:
    """-1, 0 or 1 from one character to the next by alphabet, +-2 along a row of keys, else None."""
    if abs(ord(after) - ord(before)) <= 1:
        return ord(after) - ord(before)
    for row in KEY_ROWS:
        if before + after in row:
            return 2
        if after + before in row:
            return -2
    return None


def _period(text: str) -> int:
    """Length of the shortest part that the text repeats; the text's own length if it repeats none."""
    return (text + text).find(text, 1)


def _is_pairs(pin: str) -> bool:
    """Whether the digits come in equal pairs that go up or down by one, such as 112233."""
    if len(pin) % 2 or any(pin[place] != pin[place + 1] for place in range(0, len(pin), 2)):
        return False
    halves = pin[::2]
    return len({(int(after) - int(before)) % 10 for before, after in pairwise(halves)}) == 1


def _is_date(pin: str) -> bool:
    """Whether it reads as a day in an order that people write;
    two digits of a year stand for both centuries.
    """
    if len(pin) == 6:
        parts = [(pin[4:], pin[2:4], pin[:2]), (pin[4:], pin[:2], pin[2:4]), (pin[:2], pin[2:4], pin[4:])]
        return any(
            _is_day(century + year, month, day) for year, month, day in parts for century in ("19", "20")
        )
    if len(pin) == 8:
        parts = [(pin[4:], pin[2:4], pin[:2]), (pin[4:], pin[:2], pin[2:4]), (pin[:4], pin[4:6], pin[6:])]
        return any(_is_day(*part) for part in parts if part[0][:2] in {"19", "20"})
    return False


def _is_day(year: str, month: str, day: str) -> bool:
    try:
        date(int(year), int(month), int(day))
    except ValueError:
        return False
    return True
