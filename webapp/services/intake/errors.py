"""Refusals of tablets and of what they send. The sentences stand in static/words/en/services.json."""

from webapp.services.errors import NotAllowed, NotFound, NotNow, NotTaken


class NoSuchDevice(NotFound):
    code = "services.no_such_device"
    field_names = ("device",)


class DeviceDisabled(NotAllowed):
    code = "services.device_disabled"


class ProofRefused(NotAllowed):
    code = "services.proof_refused"


class ChallengeRefused(NotAllowed):
    code = "services.challenge_refused"


class NotForked(NotNow):
    code = "services.not_forked"
    field_names = ("device",)


class CodeRefused(NotTaken):
    """The same words for a code that is unknown, used or too old."""

    code = "services.code_refused"


class KeyRefused(NotTaken):
    code = "services.key_refused"


class BatchTooLong(NotTaken):
    code = "services.batch_too_long"
    field_names = ("most",)


class PhotoEventNotHere(NotNow):
    code = "services.photo_event_not_here"


class PhotoOfOtherBytes(NotTaken):
    code = "services.photo_of_other_bytes"


class BatchMalformed(NotTaken):
    code = "services.batch_malformed"


class WaitingFileUnreadable(NotTaken):
    code = "services.waiting_file_unreadable"


class FileOfNoTablet(NotTaken):
    code = "services.file_of_no_tablet"
