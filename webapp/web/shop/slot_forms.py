"""The forms of the slot register: one slot, and many at once."""

from __future__ import annotations

from collections.abc import Mapping

from wtforms import BooleanField, HiddenField, RadioField, SelectField, StringField, TextAreaField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, Length, Optional

from webapp.web.desk.forms import DeskForm
from webapp.web.shop.people_forms import how_set_up, last_day

WHAT = {
    "end": "end the ticked ones now",
    "move": "give the ticked ones another last day",
    "free": "set the ticked ones free: ended, and their values are copied out",
    "give": "give free slots to people",
}


class OneSlot(DeskForm):
    """Whom a slot is given to, until when; `seen` is the row that stood on the page."""

    seen = HiddenField()
    person = StringField("Short name", [Optional(), Length(max=80)], render_kw={"list": "people"})
    until = last_day("Last day")


class Term(DeskForm):
    """What is to happen to many slots."""

    what = RadioField(
        "What is to happen",
        [InputRequired("Nothing is chosen. Choose one of them.")],
        choices=[SelectChoice(*one) for one in WHAT.items()],
    )
    machine = SelectField("Machine", choices=[], validate_choice=False)
    people = TextAreaField(
        "Short names",
        [Optional(), Length(max=2000, message="It has more than 2,000 characters. Take fewer at once.")],
        render_kw={"rows": 4, "spellcheck": "false", "autocapitalize": "none"},
    )
    authorise = BooleanField("and the right to set the machine up, until the same day")
    level = how_set_up()
    until = last_day("Last day")

    def offer(self, machines: Mapping[str, str]) -> None:
        """Offer these machines."""
        self.machine.choices = [SelectChoice(key, name) for key, name in machines.items()]
