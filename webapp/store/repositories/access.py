"""Sessions and failed attempts."""

from webapp.store.repositories.base import Repository
from webapp.store.rows import SessionRow, ThrottleRow
from webapp.store.tables.access import Session, Throttle

SIGNED_IN_FROM = "SELECT 1 FROM session WHERE person = ? AND source = ? AND started_at_utc >= ? LIMIT 1"


class AccessRepository(Repository):
    """Sessions are found by the hash of their token; failures by their subject."""

    def start_session(self, token_hash: str, person: str, source: str, at_utc: str) -> None:
        """A new session. Raises Conflict for a token that was used before."""
        fields = {"token_hash": token_hash, "person": person, "source": source}
        self._run(Session.insert({**fields, "started_at_utc": at_utc, "seen_at_utc": at_utc}))

    def session(self, token_hash: str) -> SessionRow | None:
        """One session, ended ones too, or None."""
        return self._row(Session.select().where(Session.token_hash == token_hash))

    def signed_in_from(self, person: str, source: str, since_utc: str) -> bool:
        """Whether a person began a session from there since a time."""
        return bool(self._database.raw(SIGNED_IN_FROM, (person, source, since_utc)))

    def see_session(self, token_hash: str, at_utc: str) -> None:
        """Keep when a session was last used."""
        self._run(Session.update(seen_at_utc=at_utc).where(Session.token_hash == token_hash))

    def end_session(self, token_hash: str, at_utc: str, because: str) -> int:
        """End one session; how many were ended (0 or 1)."""
        open_one = (Session.token_hash == token_hash) & Session.ended_at_utc.is_null()
        return self._run(Session.update(ended_at_utc=at_utc, ended_because=because).where(open_one))

    def end_sessions_of(self, person: str, at_utc: str, because: str) -> int:
        """End all sessions of a person; how many were ended."""
        open_ones = (Session.person == person) & Session.ended_at_utc.is_null()
        return self._run(Session.update(ended_at_utc=at_utc, ended_because=because).where(open_ones))

    def failures(self, subject: str) -> ThrottleRow | None:
        """Failures in a row of a subject, or None."""
        return self._row(Throttle.select().where(Throttle.subject == subject))

    def fail(self, subject: str, at_utc: str) -> None:
        """Count one more failure."""
        counted = Throttle.update(failures=Throttle.failures + 1, last_failure_at_utc=at_utc)
        if not self._run(counted.where(Throttle.subject == subject)):
            self._run(Throttle.insert(subject=subject, failures=1, last_failure_at_utc=at_utc))

    def take_back_failure(self, subject: str) -> None:
        """Count one failure less, never below none."""
        some = (Throttle.subject == subject) & (Throttle.failures > 0)
        self._run(Throttle.update(failures=Throttle.failures - 1).where(some))

    def forget_failures(self, subject: str) -> None:
        """Start counting anew."""
        self._run(Throttle.delete().where(Throttle.subject == subject))

    def forget_failures_under(self, prefix: str) -> None:
        """Start counting anew for every subject that begins with these characters."""
        last = prefix + chr(0x10FFFF)
        self._run(Throttle.delete().where((Throttle.subject >= prefix) & (Throttle.subject < last)))
