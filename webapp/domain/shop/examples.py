"""A sound item of each kind, to hold one field of a shop file against at a time.
Never shown, never loaded.
"""

from webapp.domain.shop.shop import Fixture, FixtureFace, Machine, Person, Probe, ShopRules

RULES = ShopRules(name="example", lead="example")

MACHINE = Machine(
    id="example",
    name="example",
    unit="mm",
    decimals=3,
    travel_nm={"X": (-1, 0), "Y": (-1, 0), "Z": (-1, 0)},
    confirm_limit_nm=None,
    slot_family="G54",
    probe_tool="98765431",
    parking_tool="98765432",
    first_feed_mm_per_min=1,
    fine_feed_mm_per_min=1,
    deceleration_mm_per_s2=1,
    latency_s=0,
    fixture="example",
    probe="example",
)

FIXTURE = Fixture(
    id="example",
    name="example",
    jaw_length_nm=1,
    jaw_thickness_nm=1,
    jaw_height_nm=1,
    opening_nm=1,
    edge_break_nm=0,
    clamping_axis="Y",
    clamping_direction=-1,
    faces=(FixtureFace(axis="Z", normal=1, face="top"),),
)

PROBE = Probe(
    id="example",
    name="example",
    ball_diameter_nm=1,
    effective_radius_nm=0,
    radius_uncertainty_nm=0,
    stylus_reach_nm=1,
    overtravel_side_nm=1,
    overtravel_up_nm=1,
)

PERSON = Person(id="example", name="example", roles=("operator",))
