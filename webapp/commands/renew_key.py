"""`zerokeep renew-key receipts|pins|heads`: a new key for receipts, sealed PINs or the ledger's heads.

Rules: the former receipt key signs a statement that names the new one, which stands on the ledger; a tablet
follows such statements from the key that it knows. The former PIN key still opens what was sealed to it,
until it is renewed the next time: it is destroyed then, and whoever sealed to it signs once more. The former
key of heads goes with its public half into `ledger-keys.txt`: heads that it signed are checked as before, and
the new key stands on the ledger that the old one vouched for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.data_folder import HEAD_KEYS_FILE
from webapp.proof.keys.jws import public_jwk
from webapp.proof.keys.key_ring import KeyRing, new_head_signer, new_private_key
from webapp.proof.keys.key_succession import statement
from webapp.services.evidence.succession import HEAD_KEY_RENEWED, PIN_KEY_RENEWED, RECEIPT_KEY_RENEWED
from webapp.services.times import utc_text
from webapp.settings import Settings, key_passphrase
from webapp.shop_folder import Renewal, renew_keys, write_head_keys

DONE, NO_SHOP = 0, 2
RECEIPTS, PINS, HEADS = "receipts", "pins", "heads"
LEARN = """There is a new key. Start the server again: tablets learn it at their next contact, from the one
that they know. Until then it goes on with the former key."""
HAND_ON = """There is a new key. Start the server again; until then heads are signed with the former one. Hand
{file} to whoever checks heads or bundles: heads and records that the former key signed still hold."""


def renew_key(settings: Settings, which: str) -> int:
    """Make the key, note it on the ledger, write the keys. Raises as `opened` does."""
    if not has_shop(settings):
        return NO_SHOP
    now = utc_now()
    with opened(settings) as (store, keyring):
        renewed, kind, said = _renewed(keyring, which, now)
        passphrase = key_passphrase(settings, new_token, made=True)
        renew_keys(settings, store, renewed, passphrase, Renewal(kind, which, said), now)
        write_head_keys(settings, renewed)
    print(HAND_ON.format(file=settings.data_folder / HEAD_KEYS_FILE) if which == HEADS else LEARN)
    return DONE


def _renewed(keyring: KeyRing, which: str, now: datetime) -> tuple[KeyRing, str, Mapping[str, object]]:
    if which == RECEIPTS:
        return _receipts(keyring, now)
    return _heads(keyring) if which == HEADS else _pins(keyring)


def _heads(keyring: KeyRing) -> tuple[KeyRing, str, Mapping[str, object]]:
    renewed = keyring.with_new_head_key(new_head_signer(name=keyring.head_signer.name))
    said = {"key": renewed.head_signer.verifier.text, "before": keyring.head_signer.verifier.text}
    return renewed, HEAD_KEY_RENEWED, said


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
