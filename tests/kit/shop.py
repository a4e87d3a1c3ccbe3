"""An invented teaching shop, small enough to read: two mills, four people, all secrets known to the tests."""

from dataclasses import replace
from datetime import datetime
from itertools import count
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec

from tests.kit.clock import Clock
from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Person, Probe, ShopRules
from webapp.domain.shop.told_shop import Authorisation, SeatingStart, Shop, SlotAssignment
from webapp.proof.keys.key_file import WrappingCost
from webapp.proof.keys.key_ring import KeyRing
from webapp.services.evidence.ledger import SERVER, change
from webapp.services.people.secret_digests import digests_of
from webapp.services.people.secret_rules import hash_passphrase, hash_pin
from webapp.services.shop.loading import load
from webapp.store import Store

RULES = ShopRules(name="Kettle Lane Workshop", lead="Ines Varga, ext. 12", stop_one_in=1000)
VISE = Fixture(
    id="vise-a",
    name="Vise A",
    jaw_length_nm=150_000_000,
    jaw_thickness_nm=25_000_000,
    jaw_height_nm=50_000_000,
    opening_nm=90_000_000,
    edge_break_nm=500_000,
    clamping_axis="Y",
    clamping_direction=-1,
    faces=(FixtureFace("X", -1, "left_end"), FixtureFace("Y", -1, "front"), FixtureFace("Z", 1, "top")),
    u_seat_nm=4_000,
    expanding_length_nm=400_000_000,
    sides_first=True,
)
PROBE = Probe(
    id="probe-1",
    name="Probe 1",
    ball_diameter_nm=6_000_000,
    effective_radius_nm=2_996_000,
    radius_uncertainty_nm=1_000,
    stylus_reach_nm=50_000_000,
    overtravel_side_nm=12_000_000,
    overtravel_up_nm=6_000_000,
    u_probe_nm=1_500,
)
MILL = Machine(
    id="mill-1",
    name="Plover",
    unit="mm",
    decimals=3,
    travel_nm={"X": (-762_000_000, 0), "Y": (-406_000_000, 0), "Z": (-508_000_000, 0)},
    confirm_limit_nm=2_540_000,
    slot_family="G54-G59, G59.1-G59.3",
    probe_tool="30",
    parking_tool="1",
    first_feed_mm_per_min=900.0,
    fine_feed_mm_per_min=60.0,
    deceleration_mm_per_s2=900.0,
    latency_s=0.004,
    u_axis_nm={"X": 2_000, "Y": 2_000, "Z": 2_500},
    fixture="vise-a",
    probe="probe-1",
)
SECOND_MILL = replace(
    MILL, id="mill-2", name="Dunlin", unit="in", decimals=4, confirm_limit_nm=None, fixture="vise-b"
)
CENTRES_NM = {"X": -381_250_000, "Y": -152_400_000, "Z": -300_050_000}

# Nobody has these anywhere else: they are written down here so that tests can type them.
PASSPHRASES = {
    "ines": "violet kettle under ninety stones",
    "tomas": "seven herons walk to the harbour",
    "mara": "a tin of buttons fell down the stairs",
    "ivo": "nobody painted the ferry twice",
}
PINS = {"ines": "583947", "tomas": "902736", "mara": "738542", "ivo": "416093"}


SHOP = Shop(
    rules=RULES,
    machines=(MILL, SECOND_MILL),
    fixtures=(VISE, replace(VISE, id="vise-b", name="Vise B")),
    probes=(PROBE,),
    people=(
        Person("ines", "Ines Varga", ("lead",)),
        Person("tomas", "Tomas Reed", ("operator", "lead")),
        Person("mara", "Mara Okafor", ("operator",)),
        Person("ivo", "Ivo Brandt", ("operator",)),
    ),
    authorisations=(
        Authorisation("mara", "mill-1", "2027-01-31T00:00:00.000Z"),
        Authorisation("mara", "mill-2", "2027-01-31T00:00:00.000Z"),
        Authorisation("tomas", "mill-1", "2027-01-31T00:00:00.000Z"),
        Authorisation("ivo", "mill-1", "2026-11-25T20:00:00.000Z"),
    ),
    slots=(
        SlotAssignment("mill-1", "G54", "person", "mara", None),
        SlotAssignment("mill-1", "G55", "person", "tomas", None),
        SlotAssignment("mill-1", "G56", "shop", None, None),
        SlotAssignment("mill-1", "G57", "free", None, None),
        SlotAssignment("mill-1", "G58", "person", "ivo", None),
        SlotAssignment("mill-2", "G54", "person", "mara", None),
    ),
    seatings=(
        SeatingStart("vise-a-1", "vise-a", "2026-11-02T09:00:00.000Z", "Bolted down and trammed."),
        SeatingStart("vise-b-1", "vise-b", "2026-11-02T10:00:00.000Z", "Bolted down and trammed."),
    ),
)


def fixed_keyring(folder: Path, clock: Clock) -> KeyRing:
    """A ring of fixed keys, cheaply wrapped."""
    numbers = count(7001)
    return KeyRing.create(
        folder,
        "four plain words here",
        common_name=RULES.name,
        now=clock(),
        new_key=lambda: ec.derive_private_key(next(numbers), ec.SECP256R1()),
        cost=WrappingCost(passes=1, memory_kib=8, lanes=1),
    )


_HASHES: dict[tuple[str, bytes], tuple[str, str]] = {}


def load_shop(store: Store, keyring: KeyRing, clock: Clock, shop: Shop | None = None) -> None:
    """Load the shop as its file would be loaded, then give everybody the secrets above as their own."""
    pins = iter(("271936", "648159", "916304", "375208"))
    load(
        store,
        shop or SHOP,
        SERVER,
        clock(),
        lambda kind: "brittle cobalt umbrella morning" if kind == "passphrase" else next(pins),
        keyring,
    )
    with store.writing():
        for person, passphrase in PASSPHRASES.items():
            key = (person, keyring.pepper)
            if key not in _HASHES:
                _HASHES[key] = hash_passphrase(passphrase), hash_pin(keyring.pepper, person, PINS[person])
            first, second = _HASHES[key]
            secrets = {"passphrase_hash": first, "pin_hash": second, "first_secrets_until_utc": None}
            store.people.change(person, **secrets, must_change=False, must_change_pin=False)
            row = store.people.person(person)
            said = {"secret": "both", "first": False, "digests": digests_of(row)} if row else {}
            change(store, "secret.changed", person, person, None, said, clock())


def with_second_vise() -> Shop:
    """The same shop with another vise beside the first one on its first machine, a foot to the right."""
    vise = replace(VISE, id="vise-c", name="Vise C")
    seating = SeatingStart("vise-c-1", "vise-c", "2026-11-02T11:00:00.000Z", "Bolted down beside vise A.")
    return replace(
        SHOP,
        machines=(replace(MILL, more_fixtures=("vise-c",)), SECOND_MILL),
        fixtures=(*SHOP.fixtures, vise),
        seatings=(*SHOP.seatings, seating),
    )


def load_second_vise(store: Store, keyring: KeyRing, now: datetime) -> None:
    """Load that shop over the one that is there."""
    load(store, with_second_vise(), SERVER, now, lambda _: "", keyring)


RIGHT_NM = {"X": CENTRES_NM["X"] + 300_000_000, "Y": CENTRES_NM["Y"] - 8_000_000, "Z": -290_020_000}
