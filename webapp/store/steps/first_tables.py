"""The tables of the first shops: ledger, people, shop, devices, setups, access, records.

What was ever released never changes here; see `webapp.store.migrations`.
"""

from webapp.store.steps.step import Migration, kept_forever

LEDGER = Migration(
    "ledger",
    (
        """CREATE TABLE leaf (
            position INTEGER PRIMARY KEY CHECK (position >= 0),
            kind TEXT NOT NULL CHECK (kind IN ('event', 'change')),
            hash BLOB NOT NULL CHECK (length(hash) = 32)) STRICT""",
        """CREATE TABLE node (
            level INTEGER NOT NULL CHECK (level >= 1),
            number INTEGER NOT NULL CHECK (number >= 0),
            hash BLOB NOT NULL CHECK (length(hash) = 32),
            PRIMARY KEY (level, number)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE change (
            position INTEGER PRIMARY KEY REFERENCES leaf (position),
            text TEXT NOT NULL,
            type TEXT NOT NULL,
            by TEXT NOT NULL,
            subject TEXT NOT NULL,
            setup TEXT,
            at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX change_by_setup ON change (setup, position)",
        "CREATE INDEX change_by_type ON change (type, position)",
        *kept_forever("leaf", "node", "change"),
    ),
)

PEOPLE = Migration(
    "people",
    (
        """CREATE TABLE person (
            id TEXT PRIMARY KEY,
            name TEXT NOT NULL,
            roles TEXT NOT NULL,
            active INTEGER NOT NULL,
            disabled_at_utc TEXT,
            passphrase_hash TEXT,
            pin_hash TEXT,
            must_change INTEGER NOT NULL,
            must_change_pin INTEGER NOT NULL,
            first_secrets_until_utc TEXT) STRICT""",
        """CREATE TABLE authorisation (
            number INTEGER PRIMARY KEY,
            person TEXT NOT NULL REFERENCES person (id),
            machine TEXT NOT NULL,
            from_utc TEXT NOT NULL,
            until_utc TEXT,
            withdrawn_at_utc TEXT) STRICT""",
        "CREATE INDEX authorisation_by_person ON authorisation (person, machine)",
    ),
)

SHOP = Migration(
    "shop",
    (
        """CREATE TABLE item (
            kind TEXT NOT NULL CHECK (kind IN ('shop', 'machine', 'fixture', 'probe', 'procedure')),
            id TEXT NOT NULL,
            value TEXT NOT NULL,
            active INTEGER NOT NULL,
            PRIMARY KEY (kind, id)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE slot (
            machine TEXT NOT NULL,
            label TEXT NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('person', 'shop', 'free')),
            owner TEXT REFERENCES person (id),
            until_utc TEXT,
            held_back INTEGER NOT NULL DEFAULT 0,
            last_values TEXT,
            last_seen_at_utc TEXT,
            last_setup TEXT,
            CHECK ((kind = 'person') = (owner IS NOT NULL)),
            PRIMARY KEY (machine, label)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE seating (
            id TEXT PRIMARY KEY,
            fixture TEXT NOT NULL,
            since_utc TEXT NOT NULL,
            until_utc TEXT,
            reason TEXT NOT NULL) STRICT""",
        "CREATE UNIQUE INDEX seating_now ON seating (fixture) WHERE until_utc IS NULL",
    ),
)

DEVICES = Migration(
    "devices",
    (
        """CREATE TABLE device (
            id TEXT PRIMARY KEY,
            name TEXT NOT NULL,
            jwk TEXT NOT NULL,
            state TEXT NOT NULL CHECK (state IN ('enrolled', 'disabled', 'forked')),
            display TEXT NOT NULL,
            pin_key TEXT NOT NULL,
            receipt_key TEXT NOT NULL,
            enrolled_at_utc TEXT NOT NULL,
            last_seen_at_utc TEXT) STRICT""",
        """CREATE TABLE code (
            hash TEXT PRIMARY KEY,
            made_by TEXT NOT NULL REFERENCES person (id),
            made_at_utc TEXT NOT NULL,
            until_utc TEXT NOT NULL,
            used_at_utc TEXT) STRICT""",
    ),
)

SETUPS = Migration(
    "setups",
    (
        """CREATE TABLE sheet (
            hash TEXT PRIMARY KEY,
            machine TEXT NOT NULL,
            text TEXT NOT NULL,
            content TEXT NOT NULL,
            compiled_at_utc TEXT NOT NULL,
            expires_at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX sheet_by_machine ON sheet (machine, compiled_at_utc)",
        """CREATE TABLE sheet_in_use (
            machine TEXT PRIMARY KEY,
            hash TEXT NOT NULL REFERENCES sheet (hash),
            ledger_size INTEGER NOT NULL,
            checked_at_utc TEXT NOT NULL) STRICT""",
        """CREATE TABLE event (
            position INTEGER PRIMARY KEY REFERENCES leaf (position),
            id TEXT NOT NULL UNIQUE,
            jws TEXT NOT NULL,
            device TEXT NOT NULL REFERENCES device (id),
            sequence INTEGER NOT NULL CHECK (sequence >= 1),
            setup TEXT NOT NULL,
            type TEXT NOT NULL,
            person TEXT NOT NULL,
            sheet TEXT NOT NULL REFERENCES sheet (hash),
            at_utc TEXT NOT NULL,
            received_at_utc TEXT NOT NULL,
            problems TEXT NOT NULL) STRICT""",
        "CREATE INDEX event_by_setup ON event (setup, sequence, id)",
        "CREATE INDEX event_by_device ON event (device, sequence)",
        *kept_forever("sheet", "event"),
        """CREATE TABLE waiting (
            id TEXT PRIMARY KEY,
            jws TEXT NOT NULL,
            device TEXT NOT NULL REFERENCES device (id),
            sequence INTEGER NOT NULL,
            previous TEXT NOT NULL,
            received_at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX waiting_by_previous ON waiting (previous)",
        """CREATE TABLE set_aside (
            id TEXT PRIMARY KEY,
            jws TEXT NOT NULL,
            code TEXT NOT NULL,
            fields TEXT NOT NULL,
            device TEXT,
            sequence INTEGER,
            setup TEXT,
            received_at_utc TEXT NOT NULL) STRICT""",
        """CREATE TABLE pending_seal (
            event TEXT PRIMARY KEY REFERENCES event (id),
            seal TEXT) STRICT""",
        """CREATE TABLE setup (
            id TEXT PRIMARY KEY,
            device TEXT NOT NULL REFERENCES device (id),
            sheet TEXT NOT NULL REFERENCES sheet (hash),
            machine TEXT NOT NULL,
            person TEXT NOT NULL,
            status TEXT NOT NULL,
            outcome TEXT,
            signature TEXT NOT NULL,
            probe_in_spindle INTEGER NOT NULL,
            started_at_utc TEXT NOT NULL,
            last_at_utc TEXT NOT NULL) STRICT""",
        "CREATE INDEX setup_by_machine ON setup (machine, last_at_utc)",
        "CREATE INDEX setup_by_status ON setup (status, started_at_utc)",
        """CREATE TABLE question (
            id TEXT PRIMARY KEY,
            setup TEXT NOT NULL REFERENCES setup (id),
            event TEXT NOT NULL REFERENCES event (id),
            axis TEXT,
            text TEXT NOT NULL,
            at_utc TEXT NOT NULL,
            answered_at_utc TEXT,
            answered_by TEXT REFERENCES person (id),
            decision TEXT,
            reason TEXT) STRICT""",
        "CREATE INDEX question_open ON question (at_utc) WHERE answered_at_utc IS NULL",
        """CREATE TABLE kept_value (
            setup TEXT NOT NULL REFERENCES setup (id),
            axis TEXT NOT NULL,
            fixture TEXT NOT NULL,
            seating TEXT NOT NULL REFERENCES seating (id),
            value_nm INTEGER NOT NULL,
            at_utc TEXT NOT NULL,
            left_out_reason TEXT,
            PRIMARY KEY (setup, axis)) STRICT, WITHOUT ROWID""",
        "CREATE INDEX kept_value_by_fixture ON kept_value (fixture, axis, at_utc)",
    ),
)

ACCESS = Migration(
    "access",
    (
        """CREATE TABLE session (
            token_hash TEXT PRIMARY KEY,
            person TEXT NOT NULL REFERENCES person (id),
            source TEXT NOT NULL,
            started_at_utc TEXT NOT NULL,
            seen_at_utc TEXT NOT NULL,
            ended_at_utc TEXT,
            ended_because TEXT) STRICT""",
        "CREATE INDEX session_by_person ON session (person) WHERE ended_at_utc IS NULL",
        """CREATE TABLE throttle (
            subject TEXT PRIMARY KEY,
            failures INTEGER NOT NULL CHECK (failures >= 0),
            last_failure_at_utc TEXT NOT NULL) STRICT""",
    ),
)

RECORDS = Migration(
    "records",
    (
        """CREATE TABLE record (
            setup TEXT PRIMARY KEY REFERENCES setup (id),
            sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
            bytes INTEGER NOT NULL,
            sealed_at_utc TEXT NOT NULL) STRICT""",
        *kept_forever("record"),
    ),
)
