"""Features and what is said of them, made by hand: nothing was found or fitted."""

from __future__ import annotations

from collections.abc import Sequence

from earwitness.records.causes import Cause, CauseParameter, CauseSaid, FeatureCauses
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.takes import Direction, Orbit

H, V = Orbit.HORIZONTAL, Orbit.VERTICAL


def feature(
    frequency_hz: float,
    gain_db: float,
    directions: Sequence[tuple[Orbit, float]],
    *,
    gain_u_db: float = 0.2,
    q: float | None = 2.0,
    width_octaves: float = 0.7,
) -> Feature:
    """One that stands out alike in all of its directions, most in the first."""
    places = tuple(
        FeaturePlace(
            Direction(orbit, angle).shared,
            frequency_hz,
            gain_db,
            width_octaves,
            10.0,
            gain_u_db,
            gain_db * (1 - i / 99),
        )
        for i, (orbit, angle) in enumerate(directions)
    )
    return Feature(
        kind="peak" if gain_db > 0.0 else "dip",
        frequency_hz=frequency_hz,
        frequency_u_hz=10.0,
        gain_db=gain_db,
        gain_u_db=gain_u_db,
        q=q,
        q_at_least=None if q is not None else 9.0,
        places=places,
    )


def causes(
    *probabilities: tuple[Cause, float], cannot_tell: float = 0.0, doubt: str = "", spacing_m: float = 0.16
) -> FeatureCauses:
    """Those given, the most probable first; two spaced sources have their spacing."""
    said = tuple(
        CauseSaid(
            cause,
            probability,
            3.0 * probability,
            (CauseParameter("spacing_m", spacing_m, spacing_m - 0.004, spacing_m + 0.004),)
            if cause is Cause.SPACED_SOURCES
            else (),
            ("both drivers are heard at this frequency",) if cause is Cause.SPACED_SOURCES else (),
        )
        for cause, probability in sorted(probabilities, key=lambda pair: -pair[1])
    )
    return FeatureCauses(said, cannot_tell, doubt)
