"""Refusals about signing in and about secrets. The sentences stand in static/words/en/services.json."""

from webapp.services.errors import NotAllowed, NotNow, NotTaken


class SignInRefused(NotAllowed):
    """The same words whatever was wrong: name, passphrase, a disabled account."""

    code = "services.sign_in_refused"


class TooManyTries(NotAllowed):
    code = "services.too_many_tries"
    field_names = ("seconds",)


class StoppedAfterTries(NotAllowed):
    code = "services.stopped_after_tries"


class PersonInUse(NotNow):
    code = "services.person_in_use"
    field_names = ("person",)


class SecretNotChecked(NotNow):
    """The check itself failed, for want of memory."""

    code = "services.secret_not_checked"


class PassphraseTooShort(NotTaken):
    code = "services.passphrase_too_short"
    field_names = ("characters", "least")


class PassphraseTooLong(NotTaken):
    code = "services.passphrase_too_long"
    field_names = ("characters", "most")


class PassphraseGuessable(NotTaken):
    code = "services.passphrase_guessable"
    field_names = ("least",)


class PassphraseUnchanged(NotTaken):
    code = "services.passphrase_unchanged"


class PinForm(NotTaken):
    code = "services.pin_form"
    field_names = ("least", "most")


class PinGuessable(NotTaken):
    code = "services.pin_guessable"
