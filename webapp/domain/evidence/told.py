"""What entries of the ledger carry and whoever reads them again looks for: said once, in a module that is
light enough for the audit's own small process.
"""

from __future__ import annotations

from hashlib import sha256

# The id of the item that is the procedure in use.
PROCEDURE = "current"
# Whose procedure the shop's own is, how a draft of one is named, and what one says that was published at the
# desk, and not with a shop file.
SHOPS, DRAFT, AT_DESK = "shop", "draft:", "desk"
# How it is kept beside the shop that a machine is closed; no id of a machine has a colon.
SHUT = "closed:"
# Before the digest of a text that nobody signed: no event has such an id.
UNSIGNED = "unsigned:"
# The reason that is kept with a value beyond the ask line that the lead did not let in.
STAYED_OUT = "Beyond the ask line when it was signed off, and not let into the usual."


def own_procedure_id(fixture_id: str) -> str:
    """Where a fixture's own procedure is kept."""
    return f"for:{fixture_id}"


def code_digest(hashed: str) -> str:
    """What the ledger has of a tablet's code, lower-case hex: of its hash once more, for the hash enrols."""
    return sha256(hashed.encode()).hexdigest()
