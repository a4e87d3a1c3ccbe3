"""What cannot be read is a fault among others: it is named, and the audit goes on with the next part."""

from __future__ import annotations

from collections.abc import Iterator

from webapp.services.evidence.ledger_walk import Fault

# What an error of the store says of the data; any other one says that the audit could not be done.
OF_THE_DATA = {"store.failed", "store.damaged"}


def readable(record: str, faults: Iterator[Fault]) -> Iterator[Fault]:
    """These faults, and one that names `record` where the rest of it cannot be read."""
    try:
        yield from faults
    except OSError:
        raise
    except Exception as error:
        code = str(getattr(error, "code", ""))
        if code.startswith("store.") and code not in OF_THE_DATA:
            raise
        yield Fault("audit.unreadable", f"{record} ({type(error).__name__})")
