"""Words that addresses and the ledger use themselves: no machine, fixture, probe or procedure can have one of
them as its id, because a page of that name would be another's. Nor can a person have one by which the ledger
names who is nobody: what the server does by itself would stand there as theirs, and what they do as its.

`tests/web/test_taken_words.py` holds them against every address of the desk.
"""

# "shop" is whose procedure the whole shop's is; "new" and "term" stand in addresses where an id may stand.
TAKEN_WORDS = frozenset({"new", "shop", "term"})
# Who acts when nobody does, and whom a refused sign-in is about that named nobody.
NOBODYS = frozenset({"server", "unknown"})
