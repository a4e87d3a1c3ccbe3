"""The special functions of scipy, read in when the first of them is asked for: most commands, and the first
answers of a server, need none, and reading them in takes longer than all rules together.
"""

from typing import Any


def __getattr__(name: str) -> Any:
    """A function of scipy.special by its name there. Raises AttributeError."""
    from scipy import special  # noqa: PLC0415 - see above

    found = getattr(special, name)
    globals()[name] = found
    return found
