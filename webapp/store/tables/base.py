"""What every table's class shares.
The tables themselves are made by migrations.py; a test holds the two together.
"""

import peewee


class Table(peewee.Model):
    """A table without a database of its own: each query is handed to the one it is meant for."""

    class Meta:  # noqa: D106
        database = None
        legacy_table_names = False
