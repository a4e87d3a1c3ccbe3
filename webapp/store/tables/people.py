"""Tables of people and of what they may run."""

import peewee

from webapp.store.tables.base import Table


class Person(Table):
    """An account. Secrets are there only as argon2id hashes; `name` is empty since names stand apart."""

    id = peewee.TextField(primary_key=True)
    name = peewee.TextField()
    roles = peewee.TextField()
    active = peewee.BooleanField()
    disabled_at_utc = peewee.TextField(null=True)
    passphrase_hash = peewee.TextField(null=True)
    pin_hash = peewee.TextField(null=True)
    must_change = peewee.BooleanField()
    must_change_pin = peewee.BooleanField()
    first_secrets_until_utc = peewee.TextField(null=True)


class PersonName(Table):
    """What a person is called, with the salt of its hash on the ledger; erased as a row."""

    person = peewee.TextField(primary_key=True)
    name = peewee.TextField()
    salt = peewee.TextField()


class Authorisation(Table):
    """A stretch of time in which a person may run a machine.
    Withdrawn ones stay, to judge what was signed then.
    """

    number = peewee.AutoField()
    person = peewee.TextField()
    machine = peewee.TextField()
    from_utc = peewee.TextField()
    until_utc = peewee.TextField(null=True)
    withdrawn_at_utc = peewee.TextField(null=True)
    level = peewee.TextField(null=True)
    given_by = peewee.TextField(null=True)
    training = peewee.TextField(null=True)
