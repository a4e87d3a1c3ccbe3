"""From a bare Debian to a running program, with Python's own library alone.

Rules of this package:
- It imports nothing but Python's own library and its own modules, by relative imports:
  the rest is not there yet.
- It looks first and changes second: what it cannot finish it does not begin.
- Its words go to the standard error, so that the program's own output stays clean.
- Every failure ends with what to do about it.
"""
