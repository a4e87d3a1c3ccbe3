"""Which versions print here, as a record names them: others may print other bytes for the same bundle."""

from __future__ import annotations

from importlib.metadata import version

from webapp import VERSION

RENDERER = {"weasyprint": version("weasyprint"), "zerokeep": VERSION}
