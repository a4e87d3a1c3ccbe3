"""What the test command leaves to a longer run: `ZEROKEEP_TESTS_MORE=1` asks for all of it."""

import os

ALL = bool(os.environ.get("ZEROKEEP_TESTS_MORE"))
# Sizes and cut words are alike in both themes, so that the longest of such looks are made in one of them.
THEMES = ("light", "dark") if ALL else ("dark",)
