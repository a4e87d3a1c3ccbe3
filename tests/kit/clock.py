"""A clock that stands still until it is told to move."""

from datetime import UTC, datetime, timedelta

from webapp.services.times import utc_text

START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


class Clock:
    """`clock()` is the time now, as the application takes it;
    `clock.text` the same as the data carries it.
    """

    def __init__(self, start: datetime = START) -> None:
        self.moment = start

    def __call__(self) -> datetime:
        return self.moment

    @property
    def text(self) -> str:
        return utc_text(self.moment)

    def forward(self, **stretch: float) -> datetime:
        """Move on by a stretch (names of timedelta); the new time."""
        self.moment += timedelta(**stretch)
        return self.moment
