"""`zerokeep certificate`: the shop's own authority and the server's certificate, made, shown, renewed."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from webapp.chance import one_time_code
from webapp.clocks import utc_now
from webapp.data_folder import make_data_folder
from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.local_authority import (
    AuthorityRefused,
    power_of,
    power_over,
    read_host,
    read_network,
    said,
)
from webapp.proof.certificates.own_certificate import AUTHORITY_KEY_FILE, Own, fingerprint
from webapp.server import certificates
from webapp.settings import SHORTEST_PASSPHRASE, Settings

VARIABLE = "ZEROKEEP_AUTHORITY_PASSPHRASE"
GROUP = 4
DONE = 0


def make(settings: Settings, hosts: Sequence[str], subnets: Sequence[str]) -> int:
    """Make an authority for these hosts and subnets alone, and a certificate for the hosts.

    Raises AuthorityRefused, BadSetting, CannotStart.
    """
    named = [read_host(host) for host in hosts]
    power = power_over(named, [read_network(subnet) for subnet in subnets])
    make_data_folder(settings)
    passphrase = certificates.passphrase(settings)
    folder, chance = settings.certificate_folder, certificates.CHANCE
    own = own_certificate.make(folder, power, named, named[0], passphrase, utc_now(), chance)
    _say(own)
    print("Now type: zerokeep serve (or start it again). It says which page tells people how to trust this.")
    print(f"Recommended: take the authority's key off the server: {_take_off_line(settings)}")
    return DONE


def show(settings: Settings) -> int:
    """Say what there is. Raises AuthorityRefused where there is nothing."""
    own = own_certificate.look(settings.certificate_folder)
    _say(own)
    if own.key_is_here:
        print("The authority's key lies here; the certificate renews itself. Recommended when all is set up:")
        print(f"  {_take_off_line(settings)}")
    else:
        print("The authority's key was taken off: zerokeep certificate renew --authority-key FILE")
    return DONE


def renew(settings: Settings, hosts: Sequence[str], key_file: Path | None) -> int:
    """Renew the server's certificate, for other hosts if given, with the key that is here or one in a file.

    Raises AuthorityRefused, WrongPassphraseError, BadSetting.
    """
    folder = settings.certificate_folder
    own_certificate.look(folder)
    here = folder / AUTHORITY_KEY_FILE
    if key_file is None and here.exists():
        key = own_certificate.authority_key(here, certificates.passphrase(settings))
    else:
        file = key_file or here
        key = own_certificate.authority_key(file, _typed() if file.exists() else "")
    named = [read_host(host) for host in hosts]
    _say(own_certificate.renew(folder, key, utc_now(), certificates.CHANCE, named))
    print("Start the server again; until then it shows the former certificate.")
    return DONE


def take_off(settings: Settings, file: Path) -> int:
    """Move the authority's key to a file under its own passphrase. Raises AuthorityRefused, BadSetting."""
    given = os.environ.get(VARIABLE)
    passphrase = given or _fresh()
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise AuthorityRefused(
            "authority.passphrase_short", length=len(passphrase), least=SHORTEST_PASSPHRASE
        )
    folder = settings.certificate_folder
    own_certificate.look(folder)
    own_certificate.take_off(
        folder, certificates.passphrase(settings), file.absolute(), passphrase, certificates.CHANCE
    )
    print(f"The authority's key lies in {file} and no longer on the server.")
    print("Put the file on a stick, lock it away, keep a second copy, and delete it here.")
    if given is None:
        print(f"Its passphrase, shown this once; keep it apart from the file: {passphrase}")
    print("The server says thirty days before its certificate ends. Then, with the file:")
    print(f"  zerokeep certificate renew --authority-key {file.name}")
    return DONE


def _say(own: Own) -> None:
    print(f"The server's certificate names {', '.join(own.hosts)}")
    print(f"  and holds until {own.server.not_valid_after_utc:%Y-%m-%d}.")
    print(f"The authority may vouch for {said(power_of(own.authority))}, and for nothing else.")
    print(f"  It holds until {own.authority.not_valid_after_utc:%Y-%m-%d}. Its SHA-256:")
    print(f"  {fingerprint(own.authority)}")


def _take_off_line(settings: Settings) -> str:
    return f"zerokeep certificate take-off FILE --data-folder {settings.data_folder}"


def _fresh() -> str:
    code = one_time_code()
    return "-".join(code[start : start + GROUP] for start in range(0, len(code), GROUP))


def _typed() -> str:
    """The passphrase of a key that was taken off: from the environment, else asked for, not shown."""
    given = os.environ.get(VARIABLE)
    return given if given is not None else getpass.getpass("Passphrase of the authority's key: ", sys.stderr)
