"""The facts of a case, as ``case.toml`` states them. What isn't stated is None, never a default."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NonNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Line = Annotated[str, Field(max_length=300)]
FaceName = Literal["front", "back", "left", "right", "top", "bottom"]
RadiatorName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=40)]
Paragraph = Annotated[str, Field(max_length=4000)]


@dataclass(frozen=True, slots=True)
class Sphere:
    """A spherical cabinet."""

    diameter_m: Positive
    shape: Literal["sphere"] = "sphere"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangular cabinet.

    `reference_up_m` and `reference_left_m` say where the reference point lies on the front, from its middle;
    `edge_m` by how much the front's edges are rounded or bevelled.
    """

    width_m: Positive
    height_m: Positive
    depth_m: Positive
    reference_up_m: Finite | None = None
    reference_left_m: Finite = 0.0
    edge_m: NonNegative = 0.0
    shape: Literal["box"] = "box"


@dataclass(frozen=True, slots=True)
class Radiator:
    """A cone, dome or port: effective diameter, the face that it sits in, and where its centre is.

    `up_m` and `left_m` are from the reference point, to the loudspeaker's own left; on the sides, the top and
    the bottom of a box `behind_m` says how far behind the front.

    `same_as` names another radiator that is of the same make and driven alike: where only one of them has a
    near field, it stands for all of them, each at its own place.
    """

    name: RadiatorName
    diameter_m: Positive
    up_m: Finite = 0.0
    left_m: Finite = 0.0
    face: FaceName = "front"
    behind_m: NonNegative | None = None
    same_as: RadiatorName | None = None


@dataclass(frozen=True, slots=True)
class Unit:
    """The loudspeaker under test.

    `rated_impedance_ohm` and `rated_band_hz` are the maker's rating.

    `symmetry` names the sides that radiate alike: the mirror image of one then stands in for directions of
    the other that weren't measured.
    """

    name: Line
    maker: Line | None = None
    kind: Line | None = None
    serial: Line | None = None
    price: NonNegative | None = None
    currency: Line | None = None
    price_date: dt.date | None = None
    condition: Line | None = None
    active: bool = False
    rated_impedance_ohm: Positive | None = None
    rated_band_hz: tuple[Positive, Positive] | None = None
    cabinet: Annotated[Sphere | Box, Field(discriminator="shape")] | None = None
    radiators: tuple[Radiator, ...] = ()
    symmetry: tuple[Literal["left-right", "up-down"], ...] = ()

    @property
    def alike(self) -> dict[str, int]:
        """How many radiators are stated to be the same as each, by its name, itself among them."""
        kinds = [radiator.same_as or radiator.name for radiator in self.radiators]
        return {r.name: kinds.count(kind) for r, kind in zip(self.radiators, kinds, strict=True)}


@dataclass(frozen=True, slots=True)
class Disclosure:
    """Where the unit came from and who paid for what."""

    unit_from: Line | None = None
    paid_by: Line | None = None
    statement: Paragraph | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """One of the maker's claims, in the maker's words and as a number.

    `figure` names what it is about: ``f3``, ``f6``, ``f10``, ``sensitivity``, ``tolerance``,
    ``impedance`` (a rated one, in ohms). For a tolerance
    `value` is the ± in dB over `band_hz`. A sensitivity claim may say what it is `per`; where it doesn't,
    both are admissible.
    """

    text: Line
    figure: Literal["f3", "f6", "f10", "sensitivity", "tolerance", "impedance"]
    value: Positive
    band_hz: tuple[Positive, Positive] | None = None
    per: Literal["voltage", "watt"] | None = None


@dataclass(frozen=True, slots=True)
class Rig:
    """How the loudspeaker was measured.

    `distance_m` is from the microphone to the reference point at 0°; `rotation_behind_m` how far behind the
    reference point the axis of rotation lies; `height_m` and `microphone_height_m` are above the floor;
    `gate_s` ends the gate after the arrival, where the reviewer states it; `gate_cycles` ends it sooner at
    high frequencies, after so many of their cycles. `ground_plane` says that loudspeaker and microphone lay
    on a hard floor, which doubles the pressure and reflects nothing later. `pa_per_full_scale` is the
    recording chain's level, where no calibrator take gives it. `humidity_percent` is the air's relative
    humidity: with `temperature_c` it says what the air absorbs. `positive_horizontal` and `positive_vertical`
    say to which side of the loudspeaker the positive angles of ``takes.toml`` lie; files that state their
    positions as AES69 does speak for themselves. `earlier` are folders of earlier cases of the same rig,
    oldest first, counted from the case's own: the rig's reference loudspeaker is held against them.
    """

    distance_m: Positive | None = None
    reference_axis: Line | None = None
    rotation_behind_m: Finite | None = None
    height_m: Positive | None = None
    microphone_height_m: Positive | None = None
    gate_s: Positive | None = None
    gate_cycles: Annotated[float, Field(ge=4, le=1000, allow_inf_nan=False)] | None = None
    ground_plane: bool = False
    pa_per_full_scale: Positive | None = None
    temperature_c: Annotated[float, Field(gt=-40, lt=60, allow_inf_nan=False)] | None = None
    humidity_percent: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)] | None = None
    microphone: Line | None = None
    room: Line | None = None
    positive_horizontal: Literal["left", "right"] | None = None
    positive_vertical: Literal["up", "down"] | None = None
    earlier: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class StatedUncertainty:
    """Standard uncertainties (k = 1) that the reviewer states; None is "not stated".

    `surface_m` is that of the radius of each surface round the loudspeaker, alike all over it;
    `impedance_percent` that of every impedance: of the resistor, and of both channels' gains.
    """

    microphone_db: NonNegative | None = None
    level_db: NonNegative | None = None
    angle_deg: NonNegative | None = None
    repeat_db: NonNegative | None = None
    temperature_k: NonNegative | None = None
    surface_m: NonNegative | None = None
    impedance_percent: NonNegative | None = None


@dataclass(frozen=True, slots=True)
class CaseFacts:
    """``case.toml``."""

    unit: Unit
    title: Line | None = None
    number: Annotated[int, Field(ge=0)] | None = None
    disclosure: Disclosure = Disclosure()
    rig: Rig = Rig()
    uncertainty: StatedUncertainty = StatedUncertainty()
    claims: tuple[Claim, ...] = ()
