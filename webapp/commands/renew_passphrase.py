"""`zerokeep renew-key passphrase`: another passphrase around the server's keys, the authority's among them.

Rules: the new passphrase is written down beside the former one before anything is wrapped under it, and takes
its place when all is; whatever ends this in between, calling it again goes on where it ended. Copies of the
former files still open with the former passphrase: whoever had both has the keys, and they need new ones.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from webapp.chance import new_token
from webapp.clocks import utc_now
from webapp.commands.opening import has_shop
from webapp.proof.certificates.own_certificate import AUTHORITY_KEY_FILE
from webapp.proof.errors import WrongPassphraseError
from webapp.proof.keys.key_file import USUAL_COST, unwrap, wrap, write_whole
from webapp.proof.keys.key_ring import FILE_NAME
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.evidence.rotation import PASSPHRASE_RENEWED
from webapp.settings import SHORTEST_PASSPHRASE, BadSetting, Settings, key_passphrase, write_secret
from webapp.shop_folder import finish_renewal
from webapp.store import Store

NEW = "ZEROKEEP_NEW_KEY_PASSPHRASE"
DONE, NO_SHOP = 0, 2


def renew_passphrase(settings: Settings) -> int:
    """Wrap the keys anew, note it on the ledger. Raises BadSetting, ProofError, StoreError."""
    if not has_shop(settings):
        return NO_SHOP
    finish_renewal(settings)
    files = (settings.keys_folder / FILE_NAME, settings.certificate_folder / AUTHORITY_KEY_FILE)
    there = [file for file in files if file.exists()]
    former = key_passphrase(settings, new_token, made=True)
    new = _new(settings, former, there)
    _must_open(there, former, new)
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.writing():
            change(store, PASSPHRASE_RENEWED, SERVER, "passphrase", None, {"files": len(there)}, utc_now())
            for file in there:
                _wrap_anew(file, former, new)
    finally:
        store.close()
    if settings.key_passphrase is None:
        settings.next_unlock_path.rename(settings.unlock_path)
        print(f"The keys are wrapped under another passphrase, which is in {settings.unlock_path}.")
    else:
        print(f"The keys are wrapped under the passphrase in {NEW}: give it in ZEROKEEP_KEY_PASSPHRASE.")
    print("Start the server again. Backups from before open with the passphrase of then, which lies in them.")
    return DONE


def _new(settings: Settings, former: str, files: Sequence[Path]) -> str:
    if settings.key_passphrase is not None:
        typed = os.environ.get(NEW, "")
        if len(typed) < SHORTEST_PASSPHRASE or typed == settings.key_passphrase:
            raise BadSetting("settings.new_passphrase", variable=NEW, least=SHORTEST_PASSPHRASE)
        return typed
    path = settings.next_unlock_path
    if path.exists() and _is_none(path.read_text(encoding="utf-8").strip(), former):
        for file in files:
            unwrap(file.read_bytes(), former)
        path.unlink()
    if not path.exists():
        write_secret(path, new_token())
    return path.read_text(encoding="utf-8").strip()


def _is_none(text: str, former: str) -> bool:
    """Whether this can be no new passphrase: cut short by a full disk, or the former one."""
    return len(text) < SHORTEST_PASSPHRASE or text == former


def _must_open(files: Sequence[Path], former: str, new: str) -> None:
    for file in files:
        _opened(file, former, new)


def _opened(file: Path, former: str, new: str) -> tuple[bytes, bool]:
    """What is in it, and whether it is wrapped under the new passphrase already."""
    data = file.read_bytes()
    try:
        return unwrap(data, former), False
    except WrongPassphraseError:
        return unwrap(data, new), True


def _wrap_anew(file: Path, former: str, new: str) -> None:
    secrets, done = _opened(file, former, new)
    if not done:
        write_whole(file.parent, file.name, wrap(secrets, new, os.urandom, USUAL_COST))
