"""What the simulated mill refuses to do, as a control would: nothing has moved and nothing was written."""

from webapp.domain.plain.errors import DomainError


class NoProbeInSpindleError(DomainError):
    """A touch was asked for with another tool in the spindle."""

    code = "practice.no_probe"
    field_names = ("shown", "expected")


class NoSuchSlotError(DomainError):
    """The control has no slot of this name."""

    code = "practice.no_such_slot"
    field_names = ("typed", "first", "last")


class NoSuchToolError(DomainError):
    """No pocket of the magazine has this number."""

    code = "practice.no_such_tool"
    field_names = ("typed", "known")


class InAlarmError(DomainError):
    """The control shows an alarm: reset comes first."""

    code = "practice.in_alarm"


class NotHomedError(DomainError):
    """The axes do not know where they stand."""

    code = "practice.not_homed"


class NothingTouchedError(DomainError):
    """The key that writes a touch, and nothing was touched since the last search."""

    code = "practice.nothing_touched"


class NothingHeldError(DomainError):
    """Cycle start, and nothing was held that it could go on with."""

    code = "practice.nothing_held"
