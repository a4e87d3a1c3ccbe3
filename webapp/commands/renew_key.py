"""`zerokeep renew-key receipts|pins`: a new key for receipts or sealed PINs; tablets learn it themselves.

Rules: the former receipt key signs a statement that names the new one, which stands on the ledger; a tablet
follows such statements from the key that it knows. The former PIN key still opens what was sealed to it,
until it is renewed the next time: it is destroyed then, and whoever sealed to it signs once more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.proof.jws import public_jwk
from webapp.proof.key_succession import statement
from webapp.proof.keys import KeyRing, new_private_key
from webapp.services.evidence.succession import PIN_KEY_RENEWED, RECEIPT_KEY_RENEWED
from webapp.services.times import utc_text
from webapp.settings import Settings, key_passphrase
from webapp.shop_folder import Renewal, renew_keys

DONE, NO_SHOP = 0, 2
RECEIPTS, PINS = "receipts", "pins"


def renew_key(settings: Settings, which: str) -> int:
    """Make the key, note it on the ledger, write the keys. Raises as `opened` does."""
    if not has_shop(settings):
        return NO_SHOP
    now = utc_now()
    with opened(settings) as (store, keyring):
        renewed, kind, said = _receipts(keyring, now) if which == RECEIPTS else _pins(keyring)
        passphrase = key_passphrase(settings, new_token, made=True)
        renew_keys(settings, store, renewed, passphrase, Renewal(kind, which, said), now)
    print("There is a new key. Start the server again: tablets learn it at their next contact, from the one")
    print("that they know. Until then it goes on with the former key.")
    return DONE


def _receipts(keyring: KeyRing, now: datetime) -> tuple[KeyRing, str, Mapping[str, object]]:
    key = new_private_key()
    said = {
        "statement": statement(keyring.receipt_key, key, utc_text(now)),
        "kid": public_jwk(key.public_key())["kid"],
        "before": keyring.receipt_key_id,
    }
    return replace(keyring, receipt_key=key), RECEIPT_KEY_RENEWED, said


def _pins(keyring: KeyRing) -> tuple[KeyRing, str, Mapping[str, object]]:
    renewed = keyring.with_new_pin_key(new_private_key())
    destroyed = sorted(renewed.pin_keys.keys() - {renewed.pin_key_id, keyring.pin_key_id})
    for kid in destroyed:
        renewed = renewed.without_pin_key(kid)
    said = {"kid": renewed.pin_key_id, "before": keyring.pin_key_id, "destroyed": destroyed}
    return renewed, PIN_KEY_RENEWED, said
