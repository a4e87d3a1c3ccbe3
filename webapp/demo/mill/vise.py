"""Where one vise really stands, and what can lie on it: the truth that nobody in a real shop can look up.

Rules of this module:
- `surface_nm` holds the three faces that are touched, in machine coordinates;
  everything else is built from them and from the vise's measures, so that a vise that moved moves whole.
- The fixed jaw reaches away from its clamping face; the moving jaw stands opposite, one opening away. Both
  stand on the bed, the bed on the table. Steps of the jaw lie on its clamping side, two screw holes in its
  top a quarter in from the ends.
- Measures that a shop file leaves out are filled with sizes of a common vise (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from webapp.demo.mill.solids import Box, Values

MM = 1_000_000
COMMON_LENGTH_NM, COMMON_THICKNESS_NM, COMMON_HEIGHT_NM = 160 * MM, 20 * MM, 45 * MM
BED_HEIGHT_NM = 60 * MM
STEP_WIDTH_NM = 5 * MM
HOLE_WIDTH_NM, HOLE_DEPTH_NM = 9 * MM, 8 * MM


@dataclass(frozen=True)
class ViseTruth:
    """Surfaces in machine coordinates, nm, with their outward normals, and the vise's measures."""

    surface_nm: Values
    normal: dict[str, int]
    opening_nm: int
    clamping_axis: str = "Y"
    jaw_length_nm: int = COMMON_LENGTH_NM
    jaw_thickness_nm: int = COMMON_THICKNESS_NM
    jaw_height_nm: int = COMMON_HEIGHT_NM
    moving_thickness_nm: int = COMMON_THICKNESS_NM
    step_nm: int = 0

    @property
    def end_axis(self) -> str:
        """The axis along the jaws."""
        return "X" if self.clamping_axis == "Y" else "Y"

    def moved(self, by_nm: Values) -> ViseTruth:
        """The same vise somewhere else."""
        shifted = {axis: value + by_nm.get(axis, 0) for axis, value in self.surface_nm.items()}
        return replace(self, surface_nm=shifted)

    def turned(self) -> ViseTruth:
        """The same vise bolted down the other way round:
        the jaw that stands still is now where the moving one was.
        """
        axis = self.clamping_axis
        surface = dict(self.surface_nm)
        surface[axis] += self.normal[axis] * self.opening_nm
        return replace(self, surface_nm=surface, normal={**self.normal, axis: -self.normal[axis]})

    @property
    def moving_face_nm(self) -> int:
        """Where the moving jaw's clamping face stands."""
        axis = self.clamping_axis
        return self.surface_nm[axis] + self.normal[axis] * self.opening_nm

    @property
    def middle_nm(self) -> Values:
        """The middle of the fixed jaw's top: of its length, of its thickness; Z of the top."""
        along, across = self._span(self.end_axis), self._fixed_span()
        return {
            self.end_axis: sum(along) // 2,
            self.clamping_axis: sum(across) // 2,
            "Z": self.surface_nm["Z"],
        }

    def boxes(self, *more: Box) -> tuple[Box, ...]:
        """Everything of the vise that a tool can run into, and what was left lying about."""
        bed_nm = self.surface_nm["Z"] - self.jaw_height_nm
        fixed, moving = self._fixed_span(), self._moving_span()
        ends = min(fixed[0], moving[0]), max(fixed[1], moving[1])
        return (
            *self._fixed_jaw(bed_nm),
            self._box("moving jaw", moving, bed_nm, self.surface_nm["Z"]),
            self._box("vise bed", ends, bed_nm - BED_HEIGHT_NM, bed_nm),
            Box(
                "table",
                {"X": -(10**10), "Y": -(10**10), "Z": -(10**10)},
                {"X": 10**10, "Y": 10**10, "Z": bed_nm - BED_HEIGHT_NM},
            ),
            *more,
        )

    def left_on(self, what: str, height_nm: int) -> Box:
        """A thing that lies across the middle of the fixed jaw's top,
        or (parallel) on the bed before the fixed jaw.
        """
        middle = self.middle_nm
        if what == "parallel":
            face, normal = self.surface_nm[self.clamping_axis], self.normal[self.clamping_axis]
            near, far = sorted((face + normal * 2 * MM, face + normal * 12 * MM))
            bed_nm = self.surface_nm["Z"] - self.jaw_height_nm
            return self._box(what, (near, far), bed_nm, bed_nm + height_nm)
        low = {axis: middle[axis] - 15 * MM for axis in "XY"} | {"Z": middle["Z"]}
        high = {axis: middle[axis] + 15 * MM for axis in "XY"} | {"Z": middle["Z"] + height_nm}
        return Box(what, low, high)

    def hole_nm(self) -> Values:
        """The middle of the first screw hole."""
        low, high = self._span(self.end_axis)
        return {**self.middle_nm, self.end_axis: low + (high - low) // 4}

    def _fixed_jaw(self, bed_nm: int) -> tuple[Box, ...]:
        """The fixed jaw: its top is broken by two screw holes and, on the clamping side, by its step."""
        axis, top = self.clamping_axis, self.surface_nm["Z"]
        low, high = self._fixed_span()
        step = STEP_WIDTH_NM if self.step_nm else 0
        face_low = self.normal[axis] < 0
        body = (low + step, high) if face_low else (low, high - step)
        floor = top - HOLE_DEPTH_NM
        boxes = [self._box("fixed jaw", body, bed_nm, floor)]
        if step:
            edge = (low, low + step) if face_low else (high - step, high)
            boxes.append(self._box("fixed jaw", edge, bed_nm, top - self.step_nm))
        return (*boxes, *self._top(body, floor, top))

    def _top(self, body: tuple[int, int], floor: int, top: int) -> list[Box]:
        """The uppermost layer, with square holes in the middle of its thickness."""
        axis, end = self.clamping_axis, self.end_axis
        middle, half = self.middle_nm[axis], HOLE_WIDTH_NM // 2
        low, high = self._span(end)
        quarter = (high - low) // 4
        sides = [(body[0], middle - half), (middle + half, body[1])]
        layers = [self._box("fixed jaw", side, floor, top) for side in sides]
        holes = [low + quarter, high - quarter]
        starts, ends = [low, *(hole + half for hole in holes)], [*(hole - half for hole in holes), high]
        for start, stop in zip(starts, ends, strict=True):
            layers.append(
                Box(
                    "fixed jaw",
                    {end: start, axis: middle - half, "Z": floor},
                    {end: stop, axis: middle + half, "Z": top},
                )
            )
        return layers

    def _box(self, name: str, across: tuple[int, int], low_nm: int, high_nm: int) -> Box:
        along = self._span(self.end_axis)
        ends = {self.end_axis: along, self.clamping_axis: across}
        return Box(
            name,
            {axis: span[0] for axis, span in ends.items()} | {"Z": low_nm},
            {axis: span[1] for axis, span in ends.items()} | {"Z": high_nm},
        )

    def _span(self, axis: str) -> tuple[int, int]:
        """From one end of the jaws to the other:
        the touched end is a known surface, the jaw reaches away from it.
        """
        surface, normal = self.surface_nm[axis], self.normal[axis]
        return tuple(sorted((surface, surface - normal * self.jaw_length_nm)))  # type: ignore[return-value]

    def _fixed_span(self) -> tuple[int, int]:
        surface, normal = self.surface_nm[self.clamping_axis], self.normal[self.clamping_axis]
        return tuple(sorted((surface, surface - normal * self.jaw_thickness_nm)))  # type: ignore[return-value]

    def _moving_span(self) -> tuple[int, int]:
        face, normal = self.moving_face_nm, self.normal[self.clamping_axis]
        return tuple(sorted((face, face + normal * self.moving_thickness_nm)))  # type: ignore[return-value]
