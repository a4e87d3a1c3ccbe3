"""What the test command leaves to a longer run: `ZEROKEEP_TESTS_MORE=1` asks for all of it."""

import os

ALL = bool(os.environ.get("ZEROKEEP_TESTS_MORE"))
