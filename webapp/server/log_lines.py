"""How the server's log is written: lines for people, or one JSON object in each line for a collector.

No secret is ever logged: requests are named by their endpoint, people by their id, and bodies not at all.
"""

from __future__ import annotations

import logging
from typing import TextIO

from pythonjsonlogger.json import JsonFormatter

TEXT = "%(asctime)s %(levelname)s %(name)s %(message)s"
FIELDS = ["timestamp", "levelname", "name", "message"]
NAMES = {"timestamp": "at_utc", "levelname": "level", "name": "from", "message": "says", "exc_info": "trace"}


def write_log(lines: str, stream: TextIO, level: int = logging.INFO) -> None:
    """Write the log of this process to `stream` as "text" or as "json"."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(_json() if lines == "json" else logging.Formatter(TEXT))
    logging.basicConfig(level=level, handlers=[handler], force=True)


def _json() -> logging.Formatter:
    return JsonFormatter(FIELDS, rename_fields=NAMES, timestamp=True, rename_fields_keep_missing=False)
