"""`python -m tests.evidence NAME` walks and seals with the program of today,
and keeps it in tests/evidence/NAME.
"""

import sys
import tempfile
from pathlib import Path

from tests.evidence.making import make
from tests.kit.house import House

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as shop:
        make(Path(__file__).parent / sys.argv[1], House(Path(shop)))
