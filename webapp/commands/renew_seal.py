"""`zerokeep renew-seal`: a new key and certificate for the shop's seal;
what was sealed before stays verifiable.
"""

from __future__ import annotations

import json
import secrets
from hashlib import sha256

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.commands.opening import has_shop, opened
from webapp.data_folder import CERTIFICATES_FILE
from webapp.proof.keys.key_ring import new_private_key, seal_certificate
from webapp.settings import Settings, key_passphrase
from webapp.shop_folder import KEYS_NAME, Renewal, renew_keys, write_certificates

SERIAL_BYTES = 16
DONE, NO_SHOP = 0, 2


def renew_seal(settings: Settings, *, as_json: bool) -> int:
    """Make the key, keep the former certificate as a trusted one, note both on the ledger.
    Raises as `opened` does.

    A folder without a shop is left as it is: keys made there would be taken for the shop's.
    """
    if not has_shop(settings):
        return NO_SHOP
    now = utc_now()
    with opened(settings) as (store, keyring):
        key = new_private_key()
        serial = int.from_bytes(secrets.token_bytes(SERIAL_BYTES), "big") >> 1
        certificate = seal_certificate(key, KEYS_NAME, now, serial)
        renewed = keyring.with_new_seal_key(key, certificate)
        said = {**_said(certificate), "before": _said(keyring.seal_certificate)["sha256"]}
        passphrase = key_passphrase(settings, new_token)
        renew_keys(settings, store, renewed, passphrase, Renewal("seal.renewed", "seal", said), now)
        write_certificates(settings, renewed)
    if as_json:
        print(json.dumps(said, indent=1))
        return DONE
    print(f"The seal has a new certificate, good until {said['until_utc']}: SHA-256 {said['sha256']}")
    print(f"Hand this file to whoever verifies records: {settings.data_folder / CERTIFICATES_FILE}")
    print("The former certificates are in it as well, and what they sealed still verifies.")
    print("Start the server again; until then it seals with the former key.")
    return DONE


def _said(certificate: x509.Certificate) -> dict[str, str]:
    return {
        "sha256": sha256(certificate.public_bytes(Encoding.DER)).hexdigest(),
        "until_utc": f"{certificate.not_valid_after_utc:%Y-%m-%dT%H:%M:%S.000Z}",
    }
