"""Pictures in steps: kept once by hash, named by revision and sheet, handed to tablets in use."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

import pytest

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.pictures import jpeg, jpeg_that_says, tagged_jpeg
from tests.services.test_procedures import publish
from webapp.domain.procedure import editing
from webapp.domain.procedure.procedure import Procedure
from webapp.domain.procedure.rules import faults
from webapp.proof.keys.jws import sign
from webapp.record.pictures import shrunk
from webapp.services.audit import auditing
from webapp.services.errors import DraftChanged, NoSuchPicture, RoleMissing, StepPictureRefused
from webapp.services.intake import enrolling, picture_asked
from webapp.services.intake.errors import ProofRefused
from webapp.services.shop import procedures, step_pictures
from webapp.words import say

SHOWS = "The jaw as it should look, wiped."


def put(house: House, data: bytes, seen: str, by: str = "ines", step: str = "vise.wipe") -> procedures.Draft:
    about = (house.store, "shop", seen, step)
    return step_pictures.put(*about, data, SHOWS, shrunk, by, house.clock())


def begun(house: House) -> procedures.Draft:
    return procedures.begin(house.store, "shop", "ines", house.clock())


def files(house: House) -> list[str]:
    return sorted(path.name for path in house.store.step_pictures.folder.glob("*/*"))


def on_sheet(house: House) -> dict[str, Any]:
    sheet = json.loads(house.sheet()[1])
    steps = [step for stage in sheet["procedure"]["stages"] for step in stage["steps"]]
    return next(step for step in steps if step["id"] == "vise.wipe")


def asking(device: Device, digest: str, typ: str = picture_asked.REQUEST_TYPE) -> str:
    payload = json.dumps({"domain": "zerokeep/picture/1", "sha256": digest}).encode()
    return sign(payload, device.key, device.id, typ)


def test_a_picture_is_kept_as_pixels_alone_and_is_part_of_the_revision_and_of_the_sheet(house: House) -> None:
    before = procedures.used(house.store, "shop").hash
    assert "picture" not in on_sheet(house)
    draft = put(house, tagged_jpeg(size=(2400, 1800)), begun(house).seen)
    picture = editing.step_of(draft.procedure, "vise.wipe").picture
    assert picture is not None
    kept = step_pictures.picture(house.store, picture.sha256)
    assert sha256(kept).hexdigest() == picture.sha256
    assert b"Exif" not in kept
    revision = publish(house.store, "shop", draft.seen, "A picture.", "ines", house.clock())
    assert revision.hash != before
    assert picture.sha256 in revision.text
    assert on_sheet(house)["picture"] == {
        "sha256": picture.sha256, "width": 1024, "height": 768, "shows": SHOWS,
    }  # fmt: skip
    walk = house.signed_off()
    assert picture.sha256 in json.dumps(walk.sheet)
    assert auditing.audit(house.store) == []


def test_the_audit_names_a_published_picture_that_is_gone_or_another_and_the_same_one_added_makes_it_whole(
    house: House,
) -> None:
    draft = put(house, jpeg(), begun(house).seen)
    (digest,) = files(house)
    lies = house.store.step_pictures.path(digest)
    whole = lies.read_bytes()
    lies.unlink()
    assert auditing.audit(house.store) == [], "of a draft it is nobody's yet"
    lies.write_bytes(whole)
    publish(house.store, "shop", draft.seen, "A picture.", "ines", house.clock())
    draft = step_pictures.take_out(house.store, "shop", begun(house).seen, "vise.wipe", "ines", house.clock())
    publish(house.store, "shop", draft.seen, "None any more.", "ines", house.clock())
    for spoil in (lies.unlink, lambda: lies.write_bytes(whole + b"x")):
        spoil()
        (fault,) = auditing.run(house.store, house.clock()).faults
        assert (fault.code, fault.record) == ("audit.step_picture", f"picture {digest} of step vise.wipe")
        assert say(fault.code)
        with pytest.raises(NoSuchPicture):
            step_pictures.picture(house.store, digest)
    put(house, jpeg(), begun(house).seen)
    assert auditing.audit(house.store) == []


def test_it_is_said_otherwise_and_taken_out_and_the_file_stays_for_what_names_it(house: House) -> None:
    draft = put(house, jpeg(), begun(house).seen)
    draft = step_pictures.say_otherwise(
        house.store, "shop", draft.seen, "vise.wipe", "The wiped jaw.", "ines", house.clock()
    )
    picture = editing.step_of(draft.procedure, "vise.wipe").picture
    assert picture is not None
    assert picture.shows == "The wiped jaw."
    draft = step_pictures.take_out(house.store, "shop", draft.seen, "vise.wipe", "ines", house.clock())
    assert editing.step_of(draft.procedure, "vise.wipe").picture is None
    assert files(house) == [picture.sha256]


def test_what_is_no_picture_or_comes_from_another_tab_or_from_no_lead_changes_nothing(house: House) -> None:
    draft = begun(house)
    for data in (b"%PDF-1.7", jpeg_that_says(10_000, 6_000), jpeg()[:900]):
        with pytest.raises(StepPictureRefused) as refused:
            put(house, data, draft.seen)
        assert "The picture was not taken: " in say(refused.value.code, refused.value.fields)
    with pytest.raises(RoleMissing):
        put(house, jpeg(), draft.seen, by="mara")
    with pytest.raises(editing.NoSuchStepError):
        put(house, jpeg(), draft.seen, step="vise.nothing")
    assert files(house) == []
    put(house, jpeg(), draft.seen)
    with pytest.raises(DraftChanged):
        put(house, jpeg((320, 240)), draft.seen)
    assert len(files(house)) == 1, "the second tab's picture was not even looked at"


def test_a_tablet_in_use_gets_a_picture_by_its_hash_and_nobody_else_asks_for_one(house: House) -> None:
    draft = put(house, jpeg(), begun(house).seen)
    picture = editing.step_of(draft.procedure, "vise.wipe").picture
    assert picture is not None
    digest = picture.sha256
    assert picture_asked.asked_for(house.store, asking(house.device, digest)) == digest
    for request in (
        asking(Device(90_777), digest),
        asking(house.device, digest, enrolling.REQUEST_TYPE),
        asking(house.device, "../../keys"),
        "x",
    ):
        with pytest.raises(ProofRefused):
            picture_asked.asked_for(house.store, request)
    with house.store.writing():
        house.store.devices.set_state(house.device.id, "forked")
    assert picture_asked.asked_for(house.store, asking(house.device, digest)) == digest
    with house.store.writing():
        house.store.devices.set_state(house.device.id, "disabled")
    with pytest.raises(ProofRefused):
        picture_asked.asked_for(house.store, asking(house.device, digest))
    for unknown in ("0" * 64, "../../keys/keys.json", "é" * 64, ""):
        with pytest.raises(NoSuchPicture):
            step_pictures.picture(house.store, unknown)


def test_a_picture_stands_only_where_a_screen_has_room_and_says_what_it_shows(house: House) -> None:
    draft = put(house, jpeg(), begun(house).seen, step="copy.values")
    assert codes(draft.procedure) == ["procedure.picture_misplaced"]
    draft = step_pictures.say_otherwise(
        house.store, "shop", draft.seen, "copy.values", "It is safe. " + "word " * 20, "ines", house.clock()
    )
    assert codes(draft.procedure) == [
        "procedure.picture_misplaced", "procedure.picture_words", "procedure.says_safe",
    ]  # fmt: skip


def codes(procedure: Procedure) -> list[str]:
    found = faults(procedure)
    assert all(say(one.code, one.fields) for one in found)
    return [one.code for one in found]
