"""What the store says in SQLite's words, in PostgreSQL's: one text where one is enough, each change of it a
rule here.

Rules:
- texts compare and sort by their bytes (COLLATE "C") on either side; JSON stays text, since what is hashed is
  its text;
- whole numbers are BIGINT, flags BOOLEAN; a table whose key is `number` gives it as one more than the highest
  there is: writers take turns, so none is left out after a transaction that was taken back, and none has to
  be carried along;
- a trigger is a function and what calls it; what proves something refuses TRUNCATE as well;
- a statement that has no rule here, and whose words are not the same, is written out for PostgreSQL in its
  step.
"""

from __future__ import annotations

import re
from functools import lru_cache

# SQLSTATE of a row that is kept for ever; "ZK" is of no class that PostgreSQL has.
KEPT_FOREVER = "ZK001"
FLAGS = ("active", "must_change", "must_change_pin", "held_back", "probe_in_spindle", "sealed", "blocks")
_FLAG = "|".join(FLAGS)
TYPES = (
    (rf"\b({_FLAG}) INTEGER NOT NULL DEFAULT 0", r"\1 BOOLEAN NOT NULL DEFAULT FALSE"),
    (rf"\b({_FLAG}) INTEGER NOT NULL", r"\1 BOOLEAN NOT NULL"),
    (rf"\b({_FLAG}) = 1\b", r"\1 = TRUE"),
    (r"\bINTEGER\b", "BIGINT"),
    (r"\bREAL\b", "DOUBLE PRECISION"),
    (r"\bBLOB\b", "BYTEA"),
    (r"\bTEXT\b", 'TEXT COLLATE "C"'),
    (r"\) STRICT, WITHOUT ROWID$", ")"),
    (r"\) STRICT$", ")"),
)
TRIGGER = re.compile(
    r"CREATE TRIGGER (?P<name>\w+) (?P<when>BEFORE|AFTER) (?P<action>INSERT|UPDATE|DELETE)"
    r"(?P<columns> OF [\w, ]+?)? "
    r"ON (?P<table>\w+) (?:WHEN (?P<only>.*?) )?BEGIN (?P<body>.*?);? END$",
    re.DOTALL,
)
REFUSAL = re.compile(r"SELECT RAISE\(ABORT, '(?P<why>[^']*)'\)")
NUMBERED = re.compile(r"CREATE TABLE (\w+) \(\s*number INTEGER PRIMARY KEY,")
PLACE = re.compile(r"\?(\d?)")

# What the first step finds there.
FUNCTIONS = (
    """CREATE OR REPLACE FUNCTION row_digest(said TEXT) RETURNS TEXT LANGUAGE SQL
        IMMUTABLE STRICT PARALLEL SAFE AS $$ SELECT encode(sha256(convert_to(said, 'UTF8')), 'hex') $$""",
    """CREATE OR REPLACE FUNCTION number_row() RETURNS TRIGGER LANGUAGE plpgsql AS $$ BEGIN
        EXECUTE format('SELECT coalesce(max(number), 0) + 1 FROM %I', TG_TABLE_NAME) INTO NEW.number;
        RETURN NEW; END $$""",
    f"""CREATE OR REPLACE FUNCTION refuse_truncate() RETURNS TRIGGER LANGUAGE plpgsql AS $$ BEGIN
        RAISE EXCEPTION USING ERRCODE = '{KEPT_FOREVER}',
        MESSAGE = 'TRUNCATE of ' || TG_TABLE_NAME || ' is refused'; END $$""",
)


@lru_cache(maxsize=2048)
def placed(statement: str) -> str:
    """The statement with places for values as psycopg has them."""
    return PLACE.sub(lambda found: f"%(v{found[1]})s" if found[1] else "%s", statement.replace("%", "%%"))


def translated(statements: tuple[str, ...]) -> tuple[str, ...]:
    """SQLite's statements in PostgreSQL's words."""
    return tuple(part for statement in statements for part in _statement(statement))


def _statement(statement: str) -> tuple[str, ...]:
    trigger = TRIGGER.match(statement)
    if trigger:
        return _trigger(trigger)
    worded = statement.strip()
    for pattern, replacement in TYPES:
        worded = re.sub(pattern, replacement, worded)
    numbered = NUMBERED.match(statement)
    if not numbered:
        return (worded,)
    calls = f"CREATE TRIGGER {numbered[1]}_numbered BEFORE INSERT ON {numbered[1]} FOR EACH ROW "
    return (worded, calls + "WHEN (NEW.number IS NULL) EXECUTE FUNCTION number_row()")


def _trigger(found: re.Match[str]) -> tuple[str, ...]:
    name, table, action = found["name"], found["table"], found["action"]
    last = "OLD" if action == "DELETE" else "NEW"
    refusal = REFUSAL.match(found["body"])
    body = _refuse(refusal["why"]) if refusal else found["body"] + ";"
    if found["only"]:
        body = f"IF {found['only']} THEN {body} END IF;"
    function = (
        f"CREATE FUNCTION {name}() RETURNS TRIGGER LANGUAGE plpgsql AS $$ BEGIN {body} RETURN {last}; END $$"
    )
    calls = f"CREATE TRIGGER {name} {found['when']} {action}{found['columns'] or ''} ON {table}"
    calls += f" FOR EACH ROW EXECUTE FUNCTION {name}()"
    if not (refusal and action == "DELETE"):
        return (function, calls)
    truncate = f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table}"
    return (function, calls, f"{truncate} EXECUTE FUNCTION refuse_truncate()")


def _refuse(why: str) -> str:
    return f"RAISE EXCEPTION USING ERRCODE = '{KEPT_FOREVER}', MESSAGE = '{why}';"
