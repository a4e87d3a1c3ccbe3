"""Tables of the shop: what stands in it, its slots, its seatings."""

import peewee

from webapp.store.tables.base import Table


class Item(Table):
    """The shop itself, a machine, a fixture, a probe or a procedure, as canonical JSON."""

    kind = peewee.TextField()
    id = peewee.TextField()
    value = peewee.TextField()
    active = peewee.BooleanField()

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("kind", "id")


class Slot(Table):
    """A row of the register, and what was last seen in the slot (JSON of whole nanometres by axis)."""

    machine = peewee.TextField()
    label = peewee.TextField()
    kind = peewee.TextField()
    owner = peewee.TextField(null=True)
    until_utc = peewee.TextField(null=True)
    held_back = peewee.BooleanField()
    last_values = peewee.TextField(null=True)
    last_seen_at_utc = peewee.TextField(null=True)
    last_setup = peewee.TextField(null=True)
    used_otherwise = peewee.TextField(null=True)

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("machine", "label")


class Seating(Table):
    """A stretch of time in which a fixture stays where it is bolted."""

    id = peewee.TextField(primary_key=True)
    fixture = peewee.TextField()
    since_utc = peewee.TextField()
    until_utc = peewee.TextField(null=True)
    reason = peewee.TextField()


class AxisChoice(Table):
    """How rare the lead wants false asks and stops of one fixture's axis,
    where that is not the shop's choice.
    """

    fixture = peewee.TextField()
    axis = peewee.TextField()
    ask_one_in = peewee.IntegerField()
    stop_one_in = peewee.IntegerField()
    ceiling_nm = peewee.IntegerField()
    coverage_factor = peewee.FloatField(null=True)
    stop_length_nm = peewee.IntegerField(null=True)

    class Meta:  # noqa: D106
        primary_key = peewee.CompositeKey("fixture", "axis")
