"""What somebody does who has the file and another tool: triggers off, the edit, triggers on again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

TRIGGERS = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"


@contextmanager
def without_triggers(execute: Callable[[str], Any]) -> Iterator[None]:
    """No trigger refuses or does anything while the block lasts; behind it all are there as they were."""
    triggers = list(execute(TRIGGERS))
    for name, _ in triggers:
        execute(f"DROP TRIGGER {name}")
    yield
    for _, text in triggers:
        execute(text)
