"""Features: what stands out of a response, in which directions, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from earwitness.records.takes import Direction

FeatureKind = Literal["peak", "dip", "shelf", "tilt"]
BROAD: Final[tuple[FeatureKind, ...]] = ("shelf", "tilt")


@dataclass(frozen=True, slots=True)
class FeaturePlace:
    """A feature in one direction.

    `gain_db` is the height of the fitted shape as it would be without the gate; `width_octaves` the width at
    half of it. `seen_db` is how far the gated response itself stands out there, of its chord over that width.
    Of a shelf or a tilt, both heights are by how much it lies higher above `frequency_hz` than below, and the
    width is that from a tenth to nine tenths of it. The `_u` are standard uncertainties.
    """

    direction: Direction
    frequency_hz: float
    gain_db: float
    width_octaves: float
    frequency_u_hz: float
    gain_u_db: float
    seen_db: float


@dataclass(frozen=True, slots=True)
class Feature:
    """One feature with many places.

    Attributes
    ----------
    kind
        A peak, a dip, or what is broad: a shelf (a step of the level) or a tilt over the whole band.
    frequency_hz, gain_db
        Where it is most pronounced; of what is broad, its middle.
    q
        Frequency over width in hertz at half its decibels. None where the gate only bounds it
        (`q_at_least`), and of what is broad.
    q_at_least
        A bound where the gate is too short to tell.
    band_hz
        Of what is broad, from where to where it was looked for; None of peaks and dips.
    """

    kind: FeatureKind
    frequency_hz: float
    frequency_u_hz: float
    gain_db: float
    gain_u_db: float
    q: float | None
    q_at_least: float | None
    places: tuple[FeaturePlace, ...]
    band_hz: tuple[float, float] | None = None

    @property
    def top(self) -> FeaturePlace:
        """Where it stands out most."""
        return max(self.places, key=lambda place: abs(place.seen_db))

    @property
    def on_axis(self) -> FeaturePlace | None:
        """Its place on axis; None where it isn't seen there."""
        return next((place for place in self.places if place.direction.angle_deg == 0.0), None)

    @property
    def broad(self) -> bool:
        """Whether it is a shelf or a tilt."""
        return self.kind in BROAD

    @property
    def sign(self) -> int:
        """+1 where it adds, −1 where it takes."""
        return 1 if self.gain_db >= 0.0 else -1
