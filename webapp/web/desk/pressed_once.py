"""A form that is sent twice by an impatient hand does its work once, and both presses get the same answer.

Rules: every form of the desk carries a number by chance (`forms.token` in the templates). What the first
press was answered is kept in this process only, for two minutes, under that number, the person who sent it
and all that stood in the form; the second press waits for the first. A press that was refused is forgotten,
and so is one that only looks. A form that was changed in between is another one. In another process the
second press is refused by the use case, or finds its work done, as if it came a minute later.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import wraps
from typing import Generic, ParamSpec, Self, TypeVar

from flask import Response, make_response, request
from flask.typing import ResponseReturnValue

from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring

T = TypeVar("T")
Given = ParamSpec("Given")
KEPT = timedelta(minutes=2)
SHORTEST_NUMBER = 20
NUMBER, LOOKING = "press", ("do", "look")
NOT_TYPED = frozenset({"csrf_token"})
REFUSED = 400
# Secrets stand in forms: what tells two of them apart is keyed, and the key goes with the process.
_KEY = secrets.token_bytes(32)


def new_number() -> str:
    """A number for one form on one page."""
    return secrets.token_urlsafe(24)


@dataclass
class _Press(Generic[T]):
    until: datetime
    lock: threading.Lock = field(default_factory=threading.Lock)
    made: T | None = None


class PressedOnce(Generic[T]):
    """What presses made, by who sent which form."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._presses: dict[tuple[str, str], _Press[T]] = {}

    def made(self, who: str, form: str, now: datetime, make: Callable[[], T]) -> T:
        """What `make` gives, or gave to an earlier press of this form; a press that failed is forgotten."""
        with self._lock:
            self._presses = {key: one for key, one in self._presses.items() if one.until > now}
            press = self._presses.setdefault((who, form), _Press(now + KEPT))
        with press.lock:
            if press.made is None:
                press.made = make()
            return press.made


@dataclass(frozen=True)
class _Answer:
    """An answer as its view gave it, before anything was put around it."""

    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes

    @classmethod
    def of(cls, answer: Response) -> Self:
        """The answer to be kept. Raises _Refused for one that says no."""
        if answer.status_code >= REFUSED:
            raise _Refused(answer)
        return cls(answer.status_code, tuple(answer.headers.items()), answer.get_data())

    def again(self) -> Response:
        """The answer once more."""
        return Response(self.body, self.status, self.headers)


class _Refused(Exception):
    def __init__(self, answer: Response) -> None:
        super().__init__(answer.status)
        self.answer = answer


ANSWERS: PressedOnce[_Answer] = PressedOnce()


def once(view: Callable[Given, ResponseReturnValue]) -> Callable[Given, ResponseReturnValue]:
    """A view whose forms do their work once, however often they are pressed."""

    @wraps(view)
    def answered(*args: Given.args, **more: Given.kwargs) -> ResponseReturnValue:
        looks = request.form.get(LOOKING[0]) == LOOKING[1]
        if request.method != "POST" or looks or len(request.form.get(NUMBER, "")) < SHORTEST_NUMBER:
            return view(*args, **more)
        who = sessions.known()
        try:
            kept = ANSWERS.made(
                who.id if who else "", _as_sent(), wiring().now(),
                lambda: _Answer.of(make_response(view(*args, **more))),
            )  # fmt: skip
        except _Refused as refused:
            return refused.answer
        return kept.again()

    return answered


def _as_sent() -> str:
    """A digest of the form as it came: where to, its number, every field and file."""
    told = hmac.new(_KEY, request.path.encode("utf-8", "surrogatepass"), "sha256")
    typed = ((name, value) for name, value in request.form.items(multi=True) if name not in NOT_TYPED)
    for name, value in sorted(typed):
        told.update(repr((name, value)).encode("utf-8", "surrogatepass"))
    for name, file in sorted(request.files.items(multi=True), key=lambda one: one[0]):
        told.update(repr((name, file.filename)).encode("utf-8", "surrogatepass") + file.read())
        file.seek(0)
    return told.hexdigest()
