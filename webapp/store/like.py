"""A part of a text, as LIKE takes it with ESCAPE '!' in either database."""


def escaped(words: str) -> str:
    """The words with what LIKE would read as anything else marked by "!"."""
    return words.replace("!", "!!").replace("%", "!%").replace("_", "!_")
