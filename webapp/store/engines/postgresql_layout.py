"""Triggers, indexes and rules of the tables on PostgreSQL: those that are there, and those that steps make.

Rules: a trigger is told by what its function does and by whether it is switched on, an index by whether it
refuses two alike; there is no rule that rewrites a statement. Keys that came with their table go with it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any

ON, UNIQUE = "on", "unique"
THERE = (
    """SELECT 'trigger ' || t.tgname, (CASE t.tgenabled WHEN 'O' THEN 'on' ELSE 'off' END) || p.prosrc
        FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid JOIN pg_class c ON c.oid = t.tgrelid
        WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace""",
    """SELECT 'index ' || c.relname, CASE WHEN i.indisunique THEN 'unique' ELSE '' END
        FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
        WHERE c.relnamespace = current_schema()::regnamespace
        AND NOT EXISTS (SELECT 1 FROM pg_constraint k WHERE k.conindid = i.indexrelid)""",
    "SELECT 'rule ' || rulename, definition FROM pg_rules WHERE schemaname = current_schema()",
)
FUNCTION = re.compile(r"CREATE (?:OR REPLACE )?FUNCTION (\w+)\(.*?\).*?\$\$(.*)\$\$", re.DOTALL)
TRIGGER = re.compile(r"CREATE TRIGGER (\w+) .*?ON (\w+)\b.*EXECUTE FUNCTION (\w+)\(\)", re.DOTALL)
INDEX = re.compile(r"CREATE (UNIQUE )?INDEX (\w+) ON (\w+)")
DROPPED = re.compile(r"DROP (TRIGGER|INDEX|TABLE) (?:IF EXISTS )?(\w+)")


def there(execute: Callable[[str], list[tuple[Any, ...]]]) -> dict[str, str]:
    """What is there now."""
    return {str(name): str(text) for statement in THERE for name, text in execute(statement)}


def made_by(statements: Iterable[str]) -> dict[str, str]:
    """What is there after these statements."""
    functions: dict[str, str] = {}
    found: dict[str, tuple[str, str]] = {}
    for statement in statements:
        if named := FUNCTION.match(statement):
            functions[named[1]] = named[2]
        elif named := TRIGGER.match(statement):
            found[f"trigger {named[1]}"] = named[2], ON + functions[named[3]]
        elif named := INDEX.match(statement):
            found[f"index {named[2]}"] = named[3], UNIQUE if named[1] else ""
        elif named := DROPPED.match(statement):
            kind, name = named[1].lower(), named[2]
            found = {key: one for key, one in found.items() if key != f"{kind} {name}"
                     and not (kind == "table" and one[0] == name)}  # fmt: skip
    return {key: text for key, (_, text) in found.items()}
