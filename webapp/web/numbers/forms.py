"""The forms of budgets, probes and past values.
What a number may be is for the domain; it says so in words.
"""

from __future__ import annotations

from flask_wtf.file import FileField, FileRequired
from wtforms import RadioField, SelectField, StringField, TextAreaField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, Length

from webapp.domain.budget.uncertainty import Distribution
from webapp.domain.shop.measures import ZPoint
from webapp.web.desk.forms import DeskForm, secret, words
from webapp.web.show.shown_values import plain

SHORT = 200
WHY = "It is empty. Say why in a sentence; it goes onto the ledger."


def _typed(label: str, needed: str | None = None, longest: int = SHORT) -> StringField:
    rules = [InputRequired(needed)] if needed else []
    return StringField(
        label, [*rules, Length(max=longest)], render_kw={"autocomplete": "off", "spellcheck": "false"}
    )


class Confidence(DeskForm):
    """How sure the stated result shall be."""

    confidence = _typed("Confidence", "It is empty. Type a share such as 0.95, or 95 %.")
    reason = words("Reason", WHY)


class BudgetLineForm(DeskForm):
    """One line: what, how large, how it spreads, where that comes from."""

    axis = SelectField("Counts on", choices=[SelectChoice("", "every axis")])
    name = _typed("What it is")
    value = _typed("Stated value")
    distribution = SelectField(
        "How it spreads",
        choices=[SelectChoice(one.value, plain(f"budget.{one.value}")) for one in Distribution],
    )
    degrees = _typed("Degrees of freedom")
    source = _typed(
        "Where the value comes from", "It is empty. Say in words where the value comes from.", 300
    )
    reason = words("Reason for the change", WHY)


class CorrelationForm(DeskForm):
    """How two lines hang together."""

    one = SelectField("One line", [InputRequired("No line is chosen. Choose one.")])
    other = SelectField("The other line", [InputRequired("No line is chosen. Choose one.")])
    pair_axis = SelectField("Counts on", choices=[SelectChoice("", "every axis")])
    coefficient = _typed("Correlation coefficient", "It is empty. Type a number from −1 to 1, such as 0.5.")
    pair_reason = words("Reason", WHY)


class ThermalForm(DeskForm):
    """The line of thermal expansion: its three measures."""

    axis = SelectField("Counts on", choices=[SelectChoice("", "every axis")])
    span = _typed("Span that expands")
    expansion = _typed("Expansion, µm per metre and kelvin")
    swing = _typed("Swing of the room’s temperature, ± kelvin")
    source = _typed(
        "Where the values come from", "It is empty. Say in words where the values come from.", 300
    )
    reason = words("Reason for the change", WHY)


class TakeBack(DeskForm):
    """Why a line is taken back."""

    reason = words("Reason for taking it back", WHY)


class ProbeCheckForm(DeskForm):
    """A check on a ring or sphere, as the control showed it."""

    machine = SelectField(
        "Machine it was checked on", [InputRequired("Nothing is chosen. Choose the machine.")]
    )
    artefact = RadioField(
        "Checked on",
        [InputRequired("Nothing is chosen. Choose ring or sphere.")],
        choices=[
            SelectChoice("ring", "A ring, from inside"),
            SelectChoice("sphere", "A sphere or pin, from outside"),
        ],
    )
    diameter = _typed("Its diameter", "It is empty. Type the diameter from its certificate.")
    diameter_uncertainty = _typed("Standard uncertainty of that diameter")
    way = RadioField(
        "How it was touched",
        [InputRequired("Nothing is chosen. Choose how it was touched.")],
        choices=[
            SelectChoice("diametral", "Two points on X and two on Y, through the centre"),
            SelectChoice("places", "Four or more places all round"),
        ],
    )
    x_low = _typed("X, low end")
    x_high = _typed("X, high end")
    y_low = _typed("Y, low end")
    y_high = _typed("Y, high end")
    x_at_y = _typed("Y, while X was touched")
    y_at_x = _typed("X, while Y was touched")
    places = TextAreaField("Places", [Length(max=20_000)], render_kw={"rows": 9, "spellcheck": "false"})
    note = words("Note", None)


class ProbeCare(DeskForm):
    """How often, and how wide while it is overdue."""

    every_days = _typed("Check it every … days", "It is empty. Type a number of days, such as 90.")
    factor = _typed("While overdue, count it … times as wide", "It is empty. Type 1 or more, such as 2.")
    reason = words("Reason", WHY)


class ZCheckForm(DeskForm):
    """What the machine page reads on Z, the touch that shows it, and the passphrase again."""

    point = RadioField(
        "What the machine page reads on Z",
        [InputRequired("Nothing is chosen. Choose what the machine page reads.")],
        choices=[SelectChoice(one.value, plain(f"z_point.{one.value}")) for one in ZPoint],
    )
    length = _typed("From the gauge line to the centre of the ball")
    surface = _typed("Height of the surface", "It is empty. Type the height of the surface.")
    page = _typed("Z on the machine page", "It is empty. Type the Z that the machine page shows.")
    passphrase = secret("Your passphrase, again")


class PastFile(DeskForm):
    """The table of past values."""

    table = FileField(
        "The table (CSV)", [FileRequired("No file is chosen. Choose the table that you want to look at.")]
    )
