"""A step in how the tables came to be, and the words that many steps share."""

from dataclasses import dataclass
from hashlib import sha256


@dataclass(frozen=True, slots=True)
class Migration:
    """One step. `statements` run in order, on PostgreSQL in its own words (see `engines/postgresql_text.py`),
    or those of `postgresql` where the words are others.
    """

    name: str
    statements: tuple[str, ...]
    postgresql: tuple[str, ...] | None = None

    @property
    def sha256(self) -> str:
        """Hash of the text, lower-case hex."""
        return hash_of(self.statements)


def hash_of(statements: tuple[str, ...]) -> str:
    """What the row of a step that ran says of its text, lower-case hex."""
    return sha256("\n;\n".join(statements).encode()).hexdigest()


def kept_forever(*tables: str) -> tuple[str, ...]:
    """Triggers that refuse to change or remove rows of these tables."""
    return tuple(
        f"CREATE TRIGGER {table}_no_{action.lower()} BEFORE {action} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{action} of a row of {table} is refused'); END"
        for table in tables
        for action in ("UPDATE", "DELETE")
    )
