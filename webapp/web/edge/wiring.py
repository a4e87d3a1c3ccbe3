"""What `create_app` hands to the blueprints: one frozen value, kept on the application.

The services below never see Flask; the blueprints above never open a store or read a clock of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO, TYPE_CHECKING, Any, cast

from flask import Flask, current_app

from webapp.chance import first_secret
from webapp.services.evidence.timekeeping import Timekeeper
from webapp.web.edge.strangers import Strangers

if TYPE_CHECKING:
    from webapp.domain.record.bundle import RecordBundle
    from webapp.proof.keys.key_ring import KeyRing
    from webapp.proof.report import Report
    from webapp.services.audit.handing_out import Asked
    from webapp.services.intake.pictures import MakeAgain
    from webapp.services.shop.step_pictures import Shrink
    from webapp.settings import Settings
    from webapp.store import Store
    from webapp.web.files.shell import Shell

EXTENSION = "zerokeep"


@dataclass(frozen=True)
class Wiring:
    """The parts of one running server. `now` gives an aware UTC time, `new_token` 256 bits of chance as
    text.

    `render` and `render_unsigned` draw a record, `print_trends` a fixture's trends, `renderer` names the
    programs and versions that do; `seal` seals a drawn PDF as of the time given; `verify` judges one that
    somebody brings; `hand_out` writes a bundle into a file, `checker` gives the program that checks one;
    `make_picture_again` gives a picture as pixels alone, or why it is none; `shrink_picture` the same of a
    camera's, made small.
    `strangers` counts calls that no tablet in use has signed. `timekeeper` is None where there is no second
    clock. `first_secret` makes a "passphrase" or a "pin" by chance.
    """

    settings: Settings
    store: Store
    keyring: KeyRing
    shell: Shell
    now: Callable[[], datetime]
    new_token: Callable[[], str]
    render: Callable[[RecordBundle], bytes]
    render_unsigned: Callable[[RecordBundle], bytes]
    print_trends: Callable[[Mapping[str, Any]], bytes]
    renderer: Mapping[str, str]
    seal: Callable[[bytes, str], bytes]
    verify: Callable[[bytes], Report]
    hand_out: Callable[[Asked, str, datetime, IO[bytes]], int]
    checker: Callable[[], bytes]
    make_picture_again: MakeAgain
    shrink_picture: Shrink
    close: Callable[[], None]
    strangers: Strangers = field(default_factory=Strangers)
    timekeeper: Timekeeper | None = None
    first_secret: Callable[[str], str] = first_secret


def attach(app: Flask, parts: Wiring) -> None:
    """Keep the parts on the application, once."""
    app.extensions[EXTENSION] = parts


def wiring() -> Wiring:
    """The parts of the application that answers this request."""
    return cast("Wiring", current_app.extensions[EXTENSION])
