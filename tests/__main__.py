"""What `python3 tests ...` runs: make sure everything is there, then become pytest with the same arguments.

Only Python's own library is used here, because nothing else may be installed yet.
"""

import importlib
import sys
from pathlib import Path

if sys.version_info < (3, 11):  # noqa: UP036  older Pythons must get as far as this sentence
    sys.exit(
        f"Zerokeep needs Python 3.11 or newer, and this is Python {sys.version.split()[0]}. Start it with a "
        "newer one."
    )

if __name__ == "__main__":
    sys.dont_write_bytecode = True  # a set-up that is refused leaves no trace
    sys.path.append(sys.path.pop(0))
    sys.path.append(str(Path(__file__).resolve().parent.parent / "webapp"))
    sys.exit(importlib.import_module("bootstrap.start").tests(sys.argv[1:]))
