"""Every refusal of the use cases, by name. The sentences stand in static/words/en/services.json.

Four classes sort them for whoever answers a person:
nothing of that name, not this person, not in this state, not with what was typed.
"""

from webapp.domain.plain.errors import DomainError


class ServiceError(DomainError):
    """A use case was refused."""


class NotFound(ServiceError):
    """There is nothing of that name."""


class NotAllowed(ServiceError):
    """This person or tablet may not do that."""


class NotNow(ServiceError):
    """The state of things does not allow it."""


class NotTaken(ServiceError):
    """What was typed or sent cannot be taken."""


# Nothing of that name


class NoSuchPerson(NotFound):
    code = "services.no_such_person"
    field_names = ("person",)


class NoSuchMachine(NotFound):
    code = "services.no_such_machine"
    field_names = ("machine",)


class NoSuchSlot(NotFound):
    code = "services.no_such_slot"
    field_names = ("machine", "slot")


class NoSuchFixture(NotFound):
    code = "services.no_such_fixture"
    field_names = ("fixture",)


class NoSuchSeating(NotFound):
    code = "services.no_such_seating"
    field_names = ("fixture", "seating")


class NoSuchSetup(NotFound):
    code = "services.no_such_setup"
    field_names = ("setup",)


class NoSuchQuestion(NotFound):
    code = "services.no_such_question"
    field_names = ("question",)


class NoSuchWorry(NotFound):
    code = "services.no_such_worry"
    field_names = ("worry",)


class NoSuchDevice(NotFound):
    code = "services.no_such_device"
    field_names = ("device",)


class NoSuchValue(NotFound):
    code = "services.no_such_value"
    field_names = ("setup", "axis")


class RecordDisposed(NotFound):
    code = "services.record_disposed"
    field_names = ("setup", "day")


class NoSuchRecord(NotFound):
    code = "services.no_such_record"
    field_names = ("setup",)


class NoSuchProbe(NotFound):
    code = "services.no_such_probe"
    field_names = ("probe",)


class NoSuchLine(NotFound):
    code = "services.no_such_line"
    field_names = ("line",)


class NoSuchUpload(NotFound):
    code = "services.no_such_upload"


class NoShopYet(NotFound):
    code = "services.no_shop_yet"


# Not this person or tablet


class SignInRefused(NotAllowed):
    """The same words whatever was wrong: name, passphrase, a disabled account."""

    code = "services.sign_in_refused"


class TooManyTries(NotAllowed):
    code = "services.too_many_tries"
    field_names = ("seconds",)


class StoppedAfterTries(NotAllowed):
    code = "services.stopped_after_tries"


class RoleMissing(NotAllowed):
    code = "services.role_missing"
    field_names = ("role_code",)


class OwnSetup(NotAllowed):
    code = "services.own_setup"


class DeviceDisabled(NotAllowed):
    code = "services.device_disabled"


class ProofRefused(NotAllowed):
    code = "services.proof_refused"


class ChallengeRefused(NotAllowed):
    code = "services.challenge_refused"


# Not in this state


class NotFinished(NotNow):
    code = "services.not_finished"


class DecidedAlready(NotNow):
    code = "services.decided_already"
    field_names = ("by", "at_utc")


class SeatingJustStarted(NotNow):
    """Most likely one press that was sent twice."""

    code = "services.seating_just_started"
    field_names = ("at_utc", "seconds")


class SeatingCannotBeginThere(NotNow):
    """The setup was not walked in the fixture's present seating, or began before it."""

    code = "services.seating_cannot_begin_there"


class SetupChanged(NotNow):
    """The setup is not what it was when the person read it."""

    code = "services.setup_changed"


class SignatureNotVerified(NotNow):
    code = "services.signature_not_verified"


class QuestionsOpen(NotNow):
    code = "services.questions_open"
    field_names = ("count",)


class AnsweredAlready(NotNow):
    code = "services.answered_already"
    field_names = ("by", "at_utc")


class ClosedAlready(NotNow):
    code = "services.closed_already"
    field_names = ("by", "at_utc")


class NotForked(NotNow):
    code = "services.not_forked"
    field_names = ("device",)


class NotSignedOff(NotNow):
    code = "services.not_signed_off"


class LastLead(NotNow):
    code = "services.last_lead"


class PersonInUse(NotNow):
    code = "services.person_in_use"
    field_names = ("person",)


class NameErased(NotNow):
    code = "services.name_erased"
    field_names = ("person",)


class PersonKnownAlready(NotNow):
    code = "services.person_known_already"
    field_names = ("person",)


class SecretNotChecked(NotNow):
    """The check itself failed, for want of memory."""

    code = "services.secret_not_checked"


class LedgerWentBack(NotNow):
    """The ledger is not one that grew from the last head that was signed, so no head of it may be signed."""

    code = "services.ledger_went_back"
    field_names = ("file",)


class HeadUnreadable(NotTaken):
    """What was typed is neither a signed note nor a number and a root."""

    code = "services.head_unreadable"


class NothingToHandOut(NotTaken):
    """The range ends before it begins."""

    code = "services.nothing_to_hand_out"


class DayTooLate(NotTaken):
    """The last day is the end of the calendar: no day comes after it."""

    code = "services.day_too_late"


class SheetCannotBeMade(NotNow):
    code = "services.sheet_cannot_be_made"
    field_names = ("machine", "what_code")


# Not with what was typed or sent


class CodeRefused(NotTaken):
    """The same words for a code that is unknown, used or too old."""

    code = "services.code_refused"


class KeyRefused(NotTaken):
    code = "services.key_refused"


class NameRefused(NotTaken):
    code = "services.name_refused"
    field_names = ("longest",)


class ReasonMissing(NotTaken):
    code = "services.reason_missing"
    field_names = ("longest",)


class HowUnknown(NotTaken):
    code = "services.how_unknown"
    field_names = ("how",)


class DecisionUnknown(NotTaken):
    code = "services.decision_unknown"
    field_names = ("decision",)


class RoleUnknown(NotTaken):
    code = "services.role_unknown"
    field_names = ("role",)


class BatchTooLong(NotTaken):
    code = "services.batch_too_long"
    field_names = ("most",)


class BatchMalformed(NotTaken):
    code = "services.batch_malformed"


class TimeRefused(NotTaken):
    code = "services.time_refused"
    field_names = ("typed",)


class DayIsOver(NotTaken):
    code = "services.day_is_over"
    field_names = ("day",)


class PassphraseTooShort(NotTaken):
    code = "services.passphrase_too_short"
    field_names = ("characters", "least")


class PassphraseTooLong(NotTaken):
    code = "services.passphrase_too_long"
    field_names = ("characters", "most")


class PassphraseGuessable(NotTaken):
    code = "services.passphrase_guessable"
    field_names = ("least",)


class PassphraseUnchanged(NotTaken):
    code = "services.passphrase_unchanged"


class PinForm(NotTaken):
    code = "services.pin_form"
    field_names = ("least", "most")


class PinGuessable(NotTaken):
    code = "services.pin_guessable"


class CareRefused(NotTaken):
    code = "services.care_refused"
    field_names = ("most_days", "most_factor")


class BudgetTooLong(NotTaken):
    code = "services.budget_too_long"
    field_names = ("most",)


class NothingToImport(NotTaken):
    code = "services.nothing_to_import"
    field_names = ("refused", "asked")
