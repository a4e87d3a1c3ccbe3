"""What the repositories give: every table's row with its columns and their types.

Rules of this module:
- A row is a dict of column name and value; what a column keeps as JSON text is given as what the text says.
- A test holds these columns and those of the tables together.
- Times are UTC as text; a column that may be empty is `| None`.
- The use cases name these types in annotations only.
"""

from __future__ import annotations

from typing import TypedDict

from webapp.domain.plain.errors import Fields


class PersonRow(TypedDict):
    """A named account; secrets as argon2id hashes. Where the name was erased, `name` is the id and `salt`
    None.
    """

    id: str
    name: str
    salt: str | None
    roles: list[str]
    active: bool
    disabled_at_utc: str | None
    passphrase_hash: str | None
    pin_hash: str | None
    must_change: bool
    must_change_pin: bool
    first_secrets_until_utc: str | None


class AuthorisationRow(TypedDict):
    """A stretch of time in which a person may run a machine, alone or with a lead beside;
    by whom it was given and what is noted of the training for it.
    """

    number: int
    person: str
    machine: str
    from_utc: str
    until_utc: str | None
    withdrawn_at_utc: str | None
    # None: alone, by somebody who is not noted beside it.
    level: str | None
    given_by: str | None
    training: str | None


class SessionRow(TypedDict):
    """A session; only the hash of its token."""

    token_hash: str
    person: str
    source: str
    started_at_utc: str
    seen_at_utc: str
    ended_at_utc: str | None
    ended_because: str | None


class ThrottleRow(TypedDict):
    """Failures in a row of one subject."""

    subject: str
    failures: int
    last_failure_at_utc: str


class Health(TypedDict):
    """What a tablet said last of its storage and its clock."""

    persisted: bool | None
    usage_bytes: int | None
    quota_bytes: int | None
    skew_ms: int | None


class DeviceRow(TypedDict):
    """An enrolled tablet. `state` is enrolled, disabled or forked."""

    id: str
    name: str
    jwk: dict[str, str]
    state: str
    display: str
    pin_key: str
    receipt_key: str
    enrolled_at_utc: str
    last_seen_at_utc: str | None
    health: Health | None


class CodeRow(TypedDict):
    """A code for one enrolment."""

    hash: str
    made_by: str
    made_at_utc: str
    until_utc: str
    used_at_utc: str | None


class LeafRow(TypedDict):
    """One entry of the ledger, by its hash. `kind` is event or change."""

    position: int
    kind: str
    hash: bytes


class EntryRow(TypedDict):
    """An entry with its exact text, and what lists show of it."""

    position: int
    kind: str
    hash: bytes
    text: str
    type: str
    by: str
    subject: str
    setup: str | None
    at_utc: str


class ChangeRow(TypedDict):
    """A change on the server: its exact text, and what lists need of it."""

    position: int
    text: str
    type: str
    by: str
    subject: str
    setup: str | None
    at_utc: str


class SheetRow(TypedDict):
    """A sheet that was handed out."""

    hash: str
    machine: str
    text: str
    content: str
    compiled_at_utc: str
    expires_at_utc: str


class SheetDated(TypedDict):
    """Whose sheet it is, when it was made and when it ends."""

    hash: str
    machine: str
    compiled_at_utc: str
    expires_at_utc: str


class SheetChecked(TypedDict):
    """When the sheet of a machine with one of its fixtures was last found right, and at which version of what
    it is compiled from.
    """

    machine: str
    fixture: str
    hash: str
    version: str
    checked_at_utc: str


class SheetInUseRow(SheetRow):
    """The same with the sheet itself."""

    fixture: str
    version: str
    checked_at_utc: str


class EventParts(TypedDict):
    """What is looked at of an event that is stored, without its signed text."""

    id: str
    position: int
    device: str
    sequence: int
    setup: str
    type: str
    person: str
    at_utc: str
    problems: str


class EventRow(EventParts):
    """An event as the signed text that came. `problems` is JSON."""

    jws: str
    sheet: str
    received_at_utc: str


class WaitingRow(TypedDict):
    """An event whose predecessor has not come yet."""

    id: str
    jws: str
    device: str
    sequence: int
    previous: str
    received_at_utc: str


class SetAsideParts(TypedDict):
    """What is looked at of something refused, without its text."""

    id: str
    code: str
    fields: Fields
    device: str | None
    sequence: int | None


class SetAsideRow(SetAsideParts):
    """Something that was sent and refused.
    `device` is there only when its signature fits, `source` only when not.
    """

    jws: str
    setup: str | None
    received_at_utc: str
    source: str | None


class PendingSealRow(TypedDict):
    """A sealed PIN that could not be checked yet."""

    event: str
    seal: str | None


class SetupStanding(TypedDict):
    """Where a setup stands, as the fold says; its id and when it was last heard of aside."""

    device: str
    sheet: str
    machine: str
    person: str
    status: str
    outcome: str | None
    signature: str
    probe_in_spindle: bool
    started_at_utc: str


class SetupParts(SetupStanding):
    """Where a setup stands, its id, and when it was last heard of."""

    id: str
    last_at_utc: str


class SetupRow(SetupParts):
    """Where a setup stands, for lists, and whether its record is sealed."""

    sealed: bool


class QuestionPut(TypedDict):
    """A question as it was put."""

    id: str
    setup: str
    event: str
    axis: str | None
    text: str
    at_utc: str


class QuestionRow(QuestionPut):
    """A question, and the answer."""

    answered_at_utc: str | None
    answered_by: str | None
    decision: str | None
    reason: str | None


class NewValue(TypedDict):
    """A value of a setup that was signed off;
    with a reason it is kept beside the usual and does not count.
    """

    setup: str
    axis: str
    fixture: str
    seating: str
    value_nm: int
    at_utc: str
    left_out_reason: str | None


class KeptValueRow(NewValue):
    """A value beside the others; `imported` is the number of its import,
    None for a setup that was walked here.
    """

    imported: int | None


class KeptWithPerson(TypedDict):
    """A value, who brought it, and whether its setup was walked through here (0 or 1)."""

    setup: str
    seating: str
    value_nm: int
    at_utc: str
    left_out_reason: str | None
    person: str | None
    has_page: int


class KeptWithOrigin(KeptValueRow):
    """A value with where it comes from: a setup of our own, or a line that was imported."""

    machine: str
    person: str
    named: str
    note: str


class SlotRow(TypedDict):
    """A row of the register; `last_values` are whole nanometres by axis."""

    machine: str
    label: str
    kind: str
    owner: str | None
    until_utc: str | None
    held_back: bool
    last_values: dict[str, int] | None
    last_seen_at_utc: str | None
    last_setup: str | None
    # The setup that found other values here than were last seen; None since one found them the same.
    used_otherwise: str | None


class SeatingRow(TypedDict):
    """A stretch of time in which a fixture stays where it is bolted."""

    id: str
    fixture: str
    since_utc: str
    until_utc: str | None
    reason: str


class AxisChoiceRow(TypedDict):
    """How rare the lead wants false asks and stops of one fixture's axis."""

    fixture: str
    axis: str
    ask_one_in: int
    stop_one_in: int
    ceiling_nm: int
    coverage_factor: float | None
    stop_length_nm: int | None


class ImportRow(TypedDict):
    """One file of past values that was taken in."""

    number: int
    sha256: str
    name: str
    setups: int
    values_kept: int
    refused: int
    by: str
    at_utc: str


class ImportedSetupRow(TypedDict):
    """A past setup out of such a file. `named` is how the file named it, where it did."""

    id: str
    imported: int
    line: int
    machine: str
    person: str
    named: str
    note: str


class ProbeCareRow(TypedDict):
    """How often a probe is checked, and what counts while it is overdue."""

    probe: str
    every_days: int
    factor_hundredths: int


class NewProbeCheck(TypedDict):
    """A check on a ring or sphere: what was typed and what it came to, as plain values."""

    probe: str
    machine: str
    at_utc: str
    by: str
    note: str
    typed: dict[str, object]
    found: dict[str, object]


class ProbeCheckRow(NewProbeCheck):
    """A check with its number."""

    number: int


class NewZCheck(TypedDict):
    """A check of what a machine's page reads on Z: what it depends on and what was typed, as plain values."""

    machine: str
    point: str
    length_nm: int | None
    made_with: dict[str, object]
    typed: dict[str, object]
    by: str
    at_utc: str


class ZCheckRow(NewZCheck):
    """A check with its number."""

    number: int


class RecordRow(TypedDict):
    """The sealed PDF of a setup, by the SHA-256 of its bytes."""

    setup: str
    sha256: str
    bytes: int
    sealed_at_utc: str
