"""Refusals of the use cases, by name; of secrets, tablets and decisions in `errors.py` of their rooms. The
sentences stand in static/words/en/services.json.

Four classes sort them for whoever answers a person:
nothing of that name, not this person, not in this state, not with what was typed.
"""

from collections.abc import Sequence

from webapp.domain.plain.errors import DomainError, Finding


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


class NoDraft(NotFound):
    code = "services.no_draft"


class NoSuchFixture(NotFound):
    code = "services.no_such_fixture"
    field_names = ("fixture",)


class NoSuchSeating(NotFound):
    code = "services.no_such_seating"
    field_names = ("fixture", "seating")


class NoSuchSetup(NotFound):
    code = "services.no_such_setup"
    field_names = ("setup",)


class NoSuchPhoto(NotFound):
    code = "services.no_such_photo"
    field_names = ("event",)


class NoSuchPicture(NotFound):
    code = "services.no_such_picture"
    field_names = ("picture",)


class StepPictureRefused(ServiceError):
    code = "services.step_picture_refused"
    field_names = ("why_code",)


class NoSuchQuestion(NotFound):
    code = "services.no_such_question"
    field_names = ("question",)


class NoSuchWorry(NotFound):
    code = "services.no_such_worry"
    field_names = ("worry",)


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


class RoleMissing(NotAllowed):
    code = "services.role_missing"
    field_names = ("role_code",)


class OwnSetup(NotAllowed):
    code = "services.own_setup"


# Not in this state


class SeatingJustStarted(NotNow):
    """Most likely one press that was sent twice."""

    code = "services.seating_just_started"
    field_names = ("at_utc", "seconds")


class SeatingCannotBeginThere(NotNow):
    """The setup was not walked in the fixture's present seating, or began before it."""

    code = "services.seating_cannot_begin_there"


class ClosedOrOpenAlready(NotNow):
    """Another lead closed the machine, or opened it again, a moment before."""

    code = "services.closed_or_open_already"


class DraftChanged(NotNow):
    """The draft is not what it was when the person read it."""

    code = "services.draft_changed"
    field_names = ("by", "at_utc")


class DraftBehind(NotNow):
    """Another revision was published since the draft was begun."""

    code = "services.draft_behind"
    field_names = ("revision", "by", "at_utc")


class NothingChanged(NotNow):
    code = "services.nothing_changed"


class AnsweredAlready(NotNow):
    code = "services.answered_already"
    field_names = ("by", "at_utc")


class ClosedAlready(NotNow):
    code = "services.closed_already"
    field_names = ("by", "at_utc")


class NotSignedOff(NotNow):
    code = "services.not_signed_off"


class LastLead(NotNow):
    code = "services.last_lead"


class NameErased(NotNow):
    code = "services.name_erased"
    field_names = ("person",)


class PersonKnownAlready(NotNow):
    code = "services.person_known_already"
    field_names = ("person",)


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


class TimeRefused(NotTaken):
    code = "services.time_refused"
    field_names = ("typed",)


class SetUpIsOver(NotNow):
    code = "services.set_up_is_over"


class SetUpCodeRefused(NotTaken):
    code = "services.set_up_code_refused"


class ProcedureFallsShort(NotTaken):
    """A machine's sheet would not hold what every sheet has to; `faults` lists every reason."""

    code = "services.procedure_falls_short"
    field_names = ("machine", "count")

    def __init__(self, machine: str, found: Sequence[Finding]) -> None:
        super().__init__(machine=machine, count=len(found))
        self.faults = tuple(found)


class ChangedMeanwhile(NotNow):
    code = "services.changed_meanwhile"


class LookChangedMeanwhile(NotNow):
    code = "services.look_changed_meanwhile"


class NotLookedAt(NotTaken):
    code = "services.not_looked_at"


class NoSuchItem(NotFound):
    code = "services.no_such_item"
    field_names = ("kind", "id")


class SlotChangedMeanwhile(NotNow):
    code = "services.slot_changed_meanwhile"
    field_names = ("slot", "owner")


class LevelUnknown(NotTaken):
    code = "services.level_unknown"
    field_names = ("level",)


class OwnerOutOfUse(NotTaken):
    code = "services.owner_out_of_use"
    field_names = ("person",)


class OwnerHasOne(NotTaken):
    code = "services.owner_has_one"
    field_names = ("person",)


class FixtureElsewhere(NotTaken):
    code = "services.fixture_elsewhere"
    field_names = ("fixture", "machine")


class SeatingOfElsewhere(NotTaken):
    code = "services.seating_of_elsewhere"
    field_names = ("fixture", "machine")


class MachineNameTaken(NotTaken):
    code = "services.machine_name_taken"
    field_names = ("name",)


class FixtureNameTaken(NotTaken):
    code = "services.fixture_name_taken"
    field_names = ("name", "machine")


class StillBoltedThere(NotTaken):
    code = "services.still_bolted_there"
    field_names = ("name", "machine")


class SetupUnderWay(NotNow):
    code = "services.setup_under_way"
    field_names = ("person", "at_utc")


class OutOfUseAlready(NotNow):
    code = "services.out_of_use_already"


class SlotOutsideFamily(NotTaken):
    code = "services.slot_outside_family"
    field_names = ("slot",)


class LevelMissing(NotTaken):
    code = "services.level_missing"


class SlotsChangedMeanwhile(NotNow):
    code = "services.slots_changed_meanwhile"


class SeatingNotNewest(NotTaken):
    code = "services.seating_not_newest"
    field_names = ("at_utc",)


class DayNotBegun(NotTaken):
    code = "services.day_not_begun"
    field_names = ("day",)


class DayOutsideCalendar(NotTaken):
    """A day that has no beginning in UTC, because the calendar begins or ends with it."""

    code = "services.day_outside_calendar"
    field_names = ("day",)


class DayIsOver(NotTaken):
    code = "services.day_is_over"
    field_names = ("day",)


class CareRefused(NotTaken):
    code = "services.care_refused"
    field_names = ("most_days", "most_factor")


class BudgetTooLong(NotTaken):
    code = "services.budget_too_long"
    field_names = ("most",)


class NothingToImport(NotTaken):
    code = "services.nothing_to_import"
    field_names = ("refused", "asked")
