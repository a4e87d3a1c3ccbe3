"""The forms of the desk: which fields there are, what each may hold, and the sentence when it does not.

Whether a decision may be made is for the use cases; here stands only what can be said about the text itself.
The form token is checked before every view (guards.py), so the forms carry none of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Self

from flask_wtf import FlaskForm
from flask_wtf.file import FileField, FileRequired
from wtforms import (
    BooleanField,
    DateField,
    HiddenField,
    PasswordField,
    RadioField,
    SelectMultipleField,
    StringField,
    TextAreaField,
)
from wtforms.fields.choices import SelectChoice
from wtforms.validators import AnyOf, EqualTo, InputRequired, Length, Optional, ValidationError

from webapp.domain.evidence.event_kinds import LONGEST_TEXT

LONGEST_SECRET = 200


def secret(label: str, autocomplete: str = "current-password", *more: Any) -> PasswordField:
    """A field for a secret that a password manager can fill and that takes paste."""
    return PasswordField(
        label,
        [
            InputRequired("It is empty. Type it, or let your password manager fill it in."),
            Length(max=LONGEST_SECRET, message=f"It has more than {LONGEST_SECRET} characters."),
            *more,
        ],
        render_kw={"autocomplete": autocomplete, "spellcheck": "false", "autocapitalize": "none"},
    )


def words(label: str, needed: str | None) -> TextAreaField:
    """A field for a sentence or two; `needed` is what to say when it is empty, None if it may be."""
    rules: list[Any] = [InputRequired(needed)] if needed else []
    too_long = f"It has more than {LONGEST_TEXT} characters. Say it shorter."
    return TextAreaField(label, [*rules, Length(max=LONGEST_TEXT, message=too_long)], render_kw={"rows": 4})


class DeskForm(FlaskForm):  # type: ignore[misc]
    """What all forms of the desk share."""

    class Meta:
        """Settings that WTForms reads."""

        csrf = False

    def within(self, name: str) -> Self:
        """Give the fields ids of their own, where several forms stand on one page."""
        for field in self:
            field.id = f"{name}-{field.id}"
        return self

    def typed(self) -> list[tuple[str, str]]:
        """What was typed, each with its label, for a page that has no place for the form any more; no secret
        and nothing that only was chosen.
        """
        texts = [one for one in self if type(one) in {StringField, TextAreaField, DateField} and one.data]
        return [(one.label.text, str(one.data)) for one in texts]

    def refuse(self, field: str | None, sentence: str) -> None:
        """Put a refusal of a use case beside the field it is about, or above the form."""
        if field is None:
            self.form_errors.append(sentence)
        else:
            self[field].errors = [*self[field].errors, sentence]


class SignIn(DeskForm):
    """Who, and the passphrase."""

    person = StringField(
        "Your short name",
        [
            InputRequired("It is empty. Type the short name that the lead gave you, such as mara."),
            Length(max=64),
        ],
        render_kw={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"},
    )
    passphrase = secret("Passphrase")


class ChangePassphrase(DeskForm):
    """The old passphrase and twice the new one."""

    current = secret("Passphrase until now")
    new_passphrase = secret("New passphrase", "new-password")
    new_passphrase_again = secret(
        "New passphrase, once more",
        "new-password",
        EqualTo("new_passphrase", "The two are not the same. Type the new passphrase twice."),
    )


class ChangePin(DeskForm):
    """The passphrase and twice the new PIN."""

    passphrase = secret("Your passphrase")
    new_pin = secret("New PIN", "new-password")
    new_pin_again = secret(
        "New PIN, once more",
        "new-password",
        EqualTo("new_pin", "The two are not the same. Type the new PIN twice."),
    )


class ChooseOwn(DeskForm):
    """The first passphrase, and passphrase and PIN of one's own."""

    current = secret("The passphrase that you were given")
    new_passphrase = secret("Your own passphrase", "new-password")
    new_pin = secret("Your own PIN", "new-password")


class SignOff(DeskForm):
    """What becomes of the values, a note, and the passphrase again, whatever the session says.

    `let_in` is offered for the axes beyond their ask line (`offer`), each by itself;
    nothing is ticked beforehand.
    """

    first_values = RadioField(
        "First values at this vise",
        [Optional()],
        choices=[
            SelectChoice("take", "They become the usual’s first values"),
            SelectChoice("leave", "They stay out of the usual"),
        ],
        default="take",
    )
    let_in = SelectMultipleField("Let into the usual all the same", choices=[])
    moved = BooleanField("The vise had been moved or trammed before this setup: begin a new seating with it")
    moved_reason = words("What was done to the vise", None)
    note = words("Note for the record", None)
    seen = HiddenField()
    passphrase = secret("Your passphrase, again")

    def offer(self, axes: Sequence[str]) -> None:
        """Say which axes may be let in by a choice of their own."""
        self.let_in.choices = list(axes)

    def validate_moved_reason(self, field: TextAreaField) -> None:
        """A new seating needs words. Raises ValidationError."""
        if self.moved.data and not (field.data or "").strip():
            raise ValidationError("It is empty. Say what was done to the vise, such as: moved, trammed anew.")


class SignTogether(DeskForm):
    """The passphrase again; the list of setups stands in the page."""

    passphrase = secret("Your passphrase, again")


class NotAccept(DeskForm):
    """Why, and the passphrase again."""

    reason = words("Why it is not accepted", "It is empty. Say why; the operator will read it.")
    seen = HiddenField()
    passphrase = secret("Your passphrase, again")


class AddToRecord(DeskForm):
    """What was found after a record was sealed, and the passphrase again."""

    text = words(
        "What was found", "It is empty. Say what was found; it stands beside the record from then on."
    )
    passphrase = secret("Your passphrase, again")


# What the lead can say, by the decision, whether the question is about an axis, and whether the setup is
# finished.
ANSWERS = {
    ("go_on", True, False): "Go on",
    ("touch_again", True, False): "Touch again",
    ("break_off", True, False): "Break off",
    ("go_on", False, False): "It is all right: go on",
    ("break_off", False, False): "End this setup: put the probe away",
    ("go_on", True, True): "The value stands",
    ("touch_again", True, True): "Touch it again, in a new setup",
    ("go_on", False, True): "It is all right as it is",
    ("redo", False, True): "Do the whole setup again",
}


class Answer(DeskForm):
    """What to do, and why."""

    decision = RadioField(
        "What the operator shall do", [InputRequired("Nothing is chosen. Choose one of them.")], choices=[]
    )
    reason = words("Reason", "It is empty. Say why in a sentence; it goes into the record.")

    def offer(self, decisions: Sequence[str], *, about_axis: bool, finished: bool) -> None:
        """Offer these decisions in the words that fit the question and where its setup stands."""
        self.decision.choices = [SelectChoice(one, ANSWERS[one, about_axis, finished]) for one in decisions]


class CloseMachine(DeskForm):
    """Why a machine is closed, or opened again."""

    do = HiddenField(validators=[AnyOf(["close", "open"], "The page is old. Load it again.")])
    reason = words("Reason", "It is empty. Say why in a sentence; the next person reads it.")


class OutOfUse(DeskForm):
    """Why a machine, a fixture or a probe is taken out of use, or back into it."""

    do = HiddenField(validators=[AnyOf(["out", "back"], "The page is old. Load it again.")])
    reason = words("Reason", "It is empty. Say why in a sentence; it stands on the ledger.")


class Publish(DeskForm):
    """What changed in a procedure and why, in the writer's own words."""

    note = words(
        "Change note", "It is empty. Say what changed and why; it stands with the revision for good."
    )
    seen = HiddenField()
    looked = HiddenField()


NO_WORDS_OF_PICTURE = "It is empty. Say what the picture shows: whoever cannot see it hears it."


class StepPicture(DeskForm):
    """A picture for a step, and what it shows; without a file the words alone are kept."""

    file = FileField("The picture")
    shows = StringField("What it shows", [InputRequired(NO_WORDS_OF_PICTURE), Length(max=300)])
    seen = HiddenField()


class CloseWorry(DeskForm):
    """By a check or with a reason, and the words."""

    how = RadioField(
        "How it is closed",
        [InputRequired("Nothing is chosen. Choose one of the two.")],
        choices=[
            SelectChoice("checked", "It was checked"),
            SelectChoice("reasoned", "No check is needed"),
        ],
    )
    reason = words("What was found, or why", "It is empty. Say it in a sentence; it goes onto the ledger.")


class TabletReason(DeskForm):
    """Why a tablet is taken out of use, or its split history counts as looked into."""

    reason = StringField(
        "Reason", [InputRequired("It is empty. Say why; it goes onto the ledger."), Length(max=200)]
    )


class TabletName(DeskForm):
    """What a tablet is called from now on."""

    name = StringField(
        "Name", [InputRequired("It is empty. Say what this tablet is to be called."), Length(max=200)]
    )


class CheckRecord(DeskForm):
    """The PDF to check."""

    pdf = FileField("The PDF", [FileRequired("No file is chosen. Choose the PDF that you want to check.")])


class WaitingFile(DeskForm):
    """The file that a tablet wrote of what it could not send."""

    file = FileField(
        "The tablet’s file", [FileRequired("No file is chosen. Choose the file that the tablet wrote.")]
    )


class Days(DeskForm):
    """The first and the last day of what is handed out."""

    first = DateField("First day", [InputRequired("No day is typed. Type it as 2026-11-02.")])
    last = DateField("Last day", [InputRequired("No day is typed. Type it as 2026-11-02.")])


class KeptHeads(DeskForm):
    """One head of the ledger that was kept, or two."""

    one = words("A head that was kept", "No head is typed. Type what was printed, or the signed note.")
    other = words("A second head", None)


class Lines(DeskForm):
    """The lines of one axis, looked at by address."""

    ask = StringField("One false ask in so many setups", [InputRequired()])
    stop_length = StringField("Stop line: what would hurt here")
    stop = StringField("Without a length: one false stop in so many")
    ceiling = StringField("Ceiling of both lines", [InputRequired()])
    factor = StringField("Coverage factor of the floor")


class SaveChoice(DeskForm):
    """Why the lines of an axis are chosen anew."""

    reason = words("Why you choose this", "It is empty. Say why; it goes onto the ledger.")


class StartSeating(DeskForm):
    """Why a fixture's usual starts again, and since when it stands there; without a day, since now."""

    since = DateField("Since which day", [Optional()])

    reason = words(
        "What was done to the fixture", "It is empty. Say what was done, such as: moved, re-trammed, cleaned."
    )


class ValueReason(DeskForm):
    """Why a value is left out of the usual, or taken back."""

    do = HiddenField(validators=[AnyOf(["leave_out", "take_in"], "The page is old. Load it again.")])
    reason = words("Why", "It is empty. Say why; it goes onto the ledger.")
