"""Table of sealed records; the files lie beside the database."""

import peewee

from webapp.store.tables.base import Table


class Record(Table):
    """The sealed PDF of a setup, by the SHA-256 of its bytes, which is also the name of its file."""

    setup = peewee.TextField(primary_key=True)
    sha256 = peewee.TextField()
    bytes = peewee.IntegerField()
    sealed_at_utc = peewee.TextField()
