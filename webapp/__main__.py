"""What `python3 webapp ...` runs: make sure everything is there, then become the program itself.

Only Python's own library is used here, because nothing else may be installed yet. The folder that Python put
first on its path goes last, so that no module of the program can stand in for one of Python's own.
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
    sys.path.append(str(Path(__file__).resolve().parent))
    sys.exit(importlib.import_module("bootstrap.start").program(sys.argv[1:]))
