"""Why a slot family, a typed label or a register cannot be taken, by name."""

from __future__ import annotations

from webapp.domain.plain.errors import DomainError


class SlotError(DomainError):
    """A slot family, a typed slot label or the register cannot be taken as it is."""


class FamilyEmptyError(SlotError):
    """No slot is named."""

    code = "slots.family_empty"


class FamilyItemNotUnderstoodError(SlotError):
    """A part of the text is neither a label nor a range of labels."""

    code = "slots.family_item_not_understood"
    field_names = ("item",)


class FamilyRangeBackwardsError(SlotError):
    """A range ends before it starts."""

    code = "slots.family_range_backwards"
    field_names = ("item", "first", "last")


class FamilyRangeStemsDifferError(SlotError):
    """The two ends of a range differ in more than their last number."""

    code = "slots.family_range_stems_differ"
    field_names = ("item", "first", "last")


class FamilyLabelTwiceError(SlotError):
    """A label is named twice."""

    code = "slots.family_label_twice"
    field_names = ("label",)


class FamilyTooLongError(SlotError):
    """The text names more slots than a register keeps."""

    code = "slots.family_too_long"
    field_names = ("most",)


class LabelEmptyError(SlotError):
    """No slot label was typed."""

    code = "slots.label_empty"


class LabelNotInFamilyError(SlotError):
    """The typed label is none of the machine's."""

    code = "slots.label_not_in_family"
    field_names = ("typed", "first", "last")


class LabelAmbiguousError(SlotError):
    """The typed number fits two labels."""

    code = "slots.label_ambiguous"
    field_names = ("typed", "one", "other")


class SlotListedTwiceError(SlotError):
    """The register has two rows for one slot."""

    code = "slots.listed_twice"
    field_names = ("label",)


class SlotWithoutOwnerError(SlotError):
    """An assigned slot has no owner."""

    code = "slots.without_owner"
    field_names = ("label",)


class SlotOwnerUnexpectedError(SlotError):
    """A free slot, or one kept for the shop, has an owner."""

    code = "slots.owner_unexpected"
    field_names = ("label", "owner")


class SlotTakenError(SlotError):
    """The slot belongs to somebody."""

    code = "slots.taken"
    field_names = ("label", "owner")


class SlotHeldBackError(SlotError):
    """The slot is held back until its last values are copied out."""

    code = "slots.held_back"
    field_names = ("label", "owner")


class SlotKeptForShopError(SlotError):
    """The slot is kept for the shop."""

    code = "slots.kept_for_shop"
    field_names = ("label",)


class SlotNotAssignedError(SlotError):
    """The slot is assigned to nobody."""

    code = "slots.not_assigned"
    field_names = ("label",)


class TimeWithoutZoneError(SlotError):
    """A time carries no time zone."""

    code = "slots.time_without_zone"
    field_names = ("label",)
