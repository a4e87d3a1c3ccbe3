"""Every refusal of the press, by name."""

from __future__ import annotations

from webapp.domain.plain.errors import DomainError


class PressError(DomainError):
    """A record was not printed."""


class PressTookTooLongError(PressError):
    code = "press.took_too_long"
    field_names = ("seconds",)


class PressDiedError(PressError):
    code = "press.died"
    field_names = ("how",)


class PressDidNotStartError(PressError):
    code = "press.did_not_start"
    field_names = ("how",)


class PictureRoomError(DomainError):
    """No process could look at a picture; nothing is known of it."""

    code = "picture.not_looked_at"


class PressFailedError(PressError):
    code = "press.failed"
    field_names = ("why",)
