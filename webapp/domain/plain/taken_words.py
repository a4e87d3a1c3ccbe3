"""Words that addresses and the ledger use themselves: no machine, fixture, probe or procedure can have one of
them as its id, because a page of that name would be another's.

`tests/web/test_taken_words.py` holds them against every address of the desk.
"""

# "shop" is whose procedure the whole shop's is; "new" and "term" stand in addresses where an id may stand.
TAKEN_WORDS = frozenset({"new", "shop", "term"})
