"""The sealed PIN: checked against RFC 7518 appendix C and opened by the server's own code."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.kit.clock import Clock
from tests.kit.device import Device
from tests.kit.modules import open_modules
from tests.kit.shop import fixed_keyring
from webapp.proof.errors import PinSealRefused
from webapp.proof.keys.encoding import to_base64url
from webapp.proof.keys.jwe import open_pin_for, seal_signed_by
from webapp.proof.keys.key_ring import KeyRing

# RFC 7518, appendix C: the ephemeral key of Alice, the key of Bob, and the key derived for A128GCM.
ALICE = {
    "kty": "EC",
    "crv": "P-256",
    "x": "gI0GAILBdu7T53akrFmMyGcsF3n5dO7MmwNBHKW5SV0",
    "y": "SLW_xSffzlPWrHEVI30DHM_4egVwt3NQqeUD7nMFpps",
    "d": "0_NxaRPUMQoAJt50Gz8YiTr8gRTwyEaCumd-MToTmIo",
}
BOB = {
    "kty": "EC",
    "crv": "P-256",
    "x": "weNJy2HscCSM6AEDTDg04biOvhFhyyWvOHQfeF_PxMQ",
    "y": "e8lnCO-AlStT-NJVX-crhB7QRYhiix03illJOVAOyck",
}
DERIVED = "VqqN6vgjbSBcIijNcacQGg"
EVENT = "ab" * 32


@pytest.fixture
def page(new_context: Callable[..., BrowserContext]) -> Page:
    return open_modules(new_context())


@pytest.fixture
def keyring(tmp_path: object) -> KeyRing:
    return fixed_keyring(tmp_path / "keys", Clock())  # type: ignore[operator]


def seal(page: Page, keyring: KeyRing, pin: str = "634485") -> str:
    return str(
        page.evaluate(
            """async ({pin, key, bound}) =>
              (await import('/assets/trial/js/proof/jwe.js')).sealPin(pin, key, bound)""",
            {
                "pin": pin,
                "key": keyring.pin_jwk,
                "bound": {"event": EVENT, "device": "tablet", "person": "mara"},
            },
        )
    )


def test_the_key_agreement_gives_the_key_of_the_rfc(page: Page) -> None:
    derived = page.evaluate(
        """async ({alice, bob}) => {
          const {agreed, concatKdf} = await import('/assets/trial/js/proof/jwe.js');
          const {toBase64url, utf8} = await import('/assets/trial/js/proof/bytes.js');
          const curve = {name: 'ECDH', namedCurve: 'P-256'};
          const own = await crypto.subtle.importKey('jwk', alice, curve, false, ['deriveBits']);
          const shared = await agreed(own, bob);
          return toBase64url(await concatKdf(shared, 'A128GCM', 128, utf8('Alice'), utf8('Bob')));
        }""",
        {"alice": ALICE, "bob": BOB},
    )
    assert derived == DERIVED


def test_the_server_opens_the_seal(page: Page, keyring: KeyRing) -> None:
    opened = open_pin_for(seal(page, keyring), keyring, event_id=EVENT, device_id="tablet", person_id="mara")
    assert opened.pin == "634485"


@pytest.mark.parametrize(
    "moved",
    [{"event_id": "cd" * 32}, {"device_id": "another"}, {"person_id": "odile"}],
    ids=["to another event", "to another tablet", "to another person"],
)
def test_a_seal_that_was_moved_does_not_open(page: Page, keyring: KeyRing, moved: dict[str, str]) -> None:
    bound = {"event_id": EVENT, "device_id": "tablet", "person_id": "mara", **moved}
    with pytest.raises(PinSealRefused):
        open_pin_for(seal(page, keyring), keyring, **bound)


def test_the_same_pin_never_looks_the_same_twice(page: Page, keyring: KeyRing) -> None:
    one, other = seal(page, keyring), seal(page, keyring)
    assert not set(one.split(".")) & set(other.split(".")) - {""}


def test_a_setup_seals_for_the_key_of_the_enrolment_whatever_its_sheet_says_and_signs_it(
    page: Page, keyring: KeyRing
) -> None:
    tablet = Device()
    secret = tablet.key.private_numbers().private_value.to_bytes(32, "big")
    private = {**tablet.jwk, "d": to_base64url(secret)}
    sealed = page.evaluate(
        """async ({pinned, other, event, id, private}) => {
          const {Setup} = await import('/assets/trial/js/setup.js');
          const {Clock} = await import('/assets/trial/js/clock.js');
          const ecdsa = {name: 'ECDSA', namedCurve: 'P-256'};
          const {kty, crv, x, y, d} = private;
          const jwk = {kty, crv, x, y, d};
          const privateKey = await crypto.subtle.importKey('jwk', jwk, ecdsa, false, ['sign']);
          const outbox = {append: async (payload, seal) => ({id: event, payload, pin: await seal(event)})};
          const sheet = {procedure: {stages: []}, people: [], leads: [], axes: [], pin_key: other};
          const drafts = {drop: async () => {}};
          const device = {id, pin_key: pinned, privateKey};
          const tablet = {outbox, drafts, clock: new Clock(), device, committed: () => {}};
          const parts = {id: 's', sheetHash: 'h', sheet, person: 'mara', rows: [], decisions: [], draft: {}};
          const setup = new Setup(tablet, parts);
          return (await setup.commit('setup.signed', {meaning: 'performed'}, null, '634485')).pin;
        }""",
        {
            "pinned": keyring.pin_jwk,
            "other": {**BOB, "kid": "of somebody else"},
            "event": EVENT,
            "id": tablet.id,
            "private": private,
        },
    )
    seal_alone = seal_signed_by(sealed, tablet.jwk)
    opened = open_pin_for(seal_alone, keyring, event_id=EVENT, device_id=tablet.id, person_id="mara")
    assert opened.pin == "634485"
