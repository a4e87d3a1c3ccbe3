"""Joins the settings, the chance of the operating system and the shop's own authority: for commands and the
server.
"""

from __future__ import annotations

import os
from datetime import datetime

from webapp.chance import new_token
from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.own_certificate import AUTHORITY_KEY_FILE, Chance
from webapp.proof.keys.key_ring import FILE_NAME, new_private_key
from webapp.settings import Settings, key_passphrase

CHANCE = Chance(new_private_key, os.urandom)


def passphrase(settings: Settings) -> str:
    """What wraps the authority's key while it lies on the server: the passphrase of the server's other keys.

    Raises BadSetting.
    """
    return key_passphrase(settings, new_token, made=(settings.keys_folder / FILE_NAME).exists())


def renew_if_due(settings: Settings, now: datetime) -> bool:
    """Renew the server's certificate where that is due and its authority's key is here; whether it was.

    Raises BadSetting, ProofError.
    """
    if not settings.by_own_authority:
        return False
    folder = settings.certificate_folder
    own = own_certificate.look(folder)
    if not own.key_is_here or not own.is_due(now):
        return False
    key = own_certificate.authority_key(folder / AUTHORITY_KEY_FILE, passphrase(settings))
    own_certificate.renew(folder, key, now, CHANCE)
    return True
