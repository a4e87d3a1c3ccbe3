"""Refusals of a decision about a setup. The sentences stand in static/words/en/services.json."""

from collections.abc import Sequence

from webapp.domain.plain.errors import Finding
from webapp.services.errors import NotNow, NotTaken


class NotFinished(NotNow):
    code = "services.not_finished"


class DecidedAlready(NotNow):
    code = "services.decided_already"
    field_names = ("by", "at_utc")


class SetupChanged(NotNow):
    """The setup is not what it was when the person read it."""

    code = "services.setup_changed"


class SignatureNotVerified(NotNow):
    code = "services.signature_not_verified"


class QuestionsOpen(NotNow):
    code = "services.questions_open"
    field_names = ("count",)


class NotPlain(NotTaken):
    """What is odd about a setup keeps it out of a list; `faults` lists all of it."""

    code = "services.not_plain"

    def __init__(self, found: Sequence[Finding]) -> None:
        super().__init__()
        self.faults = tuple(found)
