"""The forms of a first start: the shop with its first lead, and the lead's own slot."""

from __future__ import annotations

from wtforms import StringField
from wtforms.validators import EqualTo, InputRequired, Length

from webapp.domain.plain.errors import DomainError
from webapp.services import errors as refusals
from webapp.web.desk.forms import DeskForm, secret
from webapp.web.shop.people_forms import last_day

LONGEST = 200
PLACES: tuple[tuple[type[DomainError], str], ...] = (
    (refusals.SetUpCodeRefused, "code"),
    (refusals.NameRefused, "person"),
)


def place_of(refusal: DomainError) -> str | None:
    """The field that a refusal is about; None for the whole."""
    code = refusal.code
    if "passphrase" in code:
        return "new_passphrase"
    if ".pin" in code:
        return "new_pin"
    return next((name for kind, name in PLACES if isinstance(refusal, kind)), None)


def _line(label: str, empty: str, **more: str) -> StringField:
    too_long = f"It has more than {LONGEST} characters."
    rules = [InputRequired(empty), Length(max=LONGEST, message=too_long)]
    return StringField(label, rules, render_kw={"autocapitalize": "none", "spellcheck": "false", **more})


class Begin(DeskForm):
    """The code that the server printed, the shop, its first lead with secrets of their own."""

    code = _line("Code that the server printed", "It is empty. Look where the server was started.",
                 autocomplete="one-time-code")  # fmt: skip
    shop_name = _line("Name of the shop", "It is empty. Type what people call it.")
    shop_lead = _line("Whom to call", "It is empty. Type a name, a place, a telephone.")
    shop_time_zone = _line("Time zone", "It is empty. Choose the zone of the shop.", list="zones")
    person_name = _line("Your name", "It is empty. Type your whole name.", autocomplete="name")
    person = _line("Your short name", "It is empty. Type one, such as mara.", autocomplete="username")
    new_passphrase = secret("Passphrase", "new-password")
    new_passphrase_again = secret(
        "Passphrase, once more",
        "new-password",
        EqualTo("new_passphrase", "The two are not the same. Type the passphrase twice."),
    )
    new_pin = secret("PIN for signing at a tablet", "new-password")
    new_pin_again = secret(
        "PIN, once more", "new-password", EqualTo("new_pin", "The two are not the same. Type the PIN twice.")
    )


class OwnSlot(DeskForm):
    """Which slot is the lead's own, until when."""

    slot = StringField(
        "Your slot", [InputRequired("It is empty. Type the name that the control shows."), Length(max=40)],
        render_kw={"list": "labels", "autocomplete": "off", "spellcheck": "false"},
    )  # fmt: skip
    until = last_day("Last day")
