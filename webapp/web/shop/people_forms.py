"""The forms about people: letting them in, and what a lead changes about one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Any

from flask_wtf.file import FileField
from wtforms import HiddenField, RadioField, SelectField, SelectMultipleField, StringField, TextAreaField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, Length, Optional, ValidationError
from wtforms.widgets import CheckboxInput, ListWidget

from webapp.domain.plain.levels import ALONE, BESIDE
from webapp.domain.shop.shop import ROLES
from webapp.web.desk.forms import DeskForm, secret

LONGEST_LIST = 10_000
LONGEST_FIELD = 200
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
LEVEL_ASKED = "Nothing is chosen. Choose alone, or with a lead beside."
LEVEL_WORDS = {ALONE: "alone", BESIDE: "with a lead beside"}
WHAT_ROLES_MAY = {
    "operator": "sets up machines that they are authorised for",
    "lead": "signs off, answers, changes the shop",
    "auditor": "reads everything, changes nothing",
}


class Ticks(SelectMultipleField):  # type: ignore[misc]
    """Several of some, as boxes to tick."""

    widget = ListWidget(prefix_label=False)
    option_widget = CheckboxInput()


def last_day(label: str) -> StringField:
    """A field for a day of the shop; empty means until it is ended by hand."""
    return StringField(label, [Optional(), _is_day], render_kw={"type": "date"})


def _is_day(_: DeskForm, field: StringField) -> None:
    typed = (field.data or "").strip()
    try:
        fits = bool(DAY.fullmatch(typed)) and date.fromisoformat(typed).year < date.max.year
    except ValueError:
        fits = False
    if not fits:
        raise ValidationError(f"“{typed[:40]}” is no day. Choose one, or type it like 2027-01-31.")


def _reason(label: str) -> StringField:
    return StringField(
        label,
        [InputRequired("It is empty. Say why; it goes onto the ledger."), Length(max=LONGEST_FIELD)],
    )


def _roles() -> Ticks:
    return Ticks("Roles", [_is_some], choices=[SelectChoice(role, role) for role in ROLES])


def _is_some(_: DeskForm, field: Ticks) -> None:
    """Not InputRequired: a browser would want every single box ticked."""
    if not field.data:
        raise ValidationError("Nothing is ticked. Everybody has at least one role.")


def how_set_up(*rules: Any) -> RadioField:
    """How a machine is set up, alone or with a lead beside: never chosen beforehand."""
    choices = [SelectChoice(*one) for one in LEVEL_WORDS.items()]
    return RadioField("How", [*rules, _is_level], choices=choices, validate_choice=False)


def _is_level(_: DeskForm, field: RadioField) -> None:
    if field.data and field.data not in LEVEL_WORDS:
        raise ValidationError(f"“{field.data[:40]}” is neither of the two. Choose one.")


def _where_there_are_machines(form: DeskForm, field: RadioField) -> None:
    if form["machines"].data and not field.data:
        raise ValidationError(LEVEL_ASKED)


def _training() -> StringField:
    return StringField("Training", [Optional(), Length(max=LONGEST_FIELD)])


class LetIn(DeskForm):
    """Who, as what, for which machines until when, and the lead's own passphrase."""

    people = TextAreaField(
        "People, one a line",
        [
            Optional(),
            Length(
                max=LONGEST_LIST, message=f"It has more than {LONGEST_LIST:,} characters. Take fewer at once."
            ),
        ],
        render_kw={"rows": 8, "spellcheck": "false"},
    )
    roles = _roles()
    file = FileField("Or a CSV file of them")
    machines = Ticks("May set up", choices=[])
    level, training = how_set_up(_where_there_are_machines), _training()
    until = last_day("Last day")
    passphrase = secret("Your own passphrase, again")

    def offer(self, machines: Iterable[tuple[str, str]]) -> None:
        """Offer these machines: (id, name)."""
        self.machines.choices = [SelectChoice(key, name) for key, name in machines]


class Roles(DeskForm):
    """Which roles a person has from now on."""

    roles = _roles()
    passphrase = secret("Your own passphrase, again")


class Authorise(DeskForm):
    """A machine that a person may set up, until when."""

    machine = SelectField("Machine", choices=[])
    until = last_day("Last day")
    level, training = how_set_up(InputRequired(LEVEL_ASKED)), _training()


class ChangeRight(DeskForm):
    """A right that stands, as it is to be from now on."""

    machine = HiddenField()
    until = last_day("Last day")
    level, training = how_set_up(InputRequired(LEVEL_ASKED)), _training()


class Withdraw(DeskForm):
    """A machine that a person may not set up any more, and why."""

    machine = HiddenField()
    reason = _reason("Reason")


class GiveSlot(DeskForm):
    """A free slot for a person, until when. The slot is "machine label"."""

    slot = SelectField("Free slot", choices=[])
    until = last_day("Last day")


class OneSlot(DeskForm):
    """One of a person's slots, as "machine label"."""

    slot = HiddenField(validators=[InputRequired("The page is old. Load it again.")])


class ExtendSlot(OneSlot):
    """The same, with another last day."""

    until = last_day("Last day")


class FreshSecrets(DeskForm):
    """New first secrets for somebody who forgot theirs."""

    passphrase = secret("Your own passphrase, again")


class EraseName(DeskForm):
    """A person's name, to be erased for good."""

    passphrase = secret("Your own passphrase, again")


class Account(DeskForm):
    """Why an account is taken out of use or taken back into it."""

    reason = _reason("Reason")
