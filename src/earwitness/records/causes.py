"""Causes of a feature: how probable each is, what was fitted, what speaks for and against it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Cause(StrEnum):
    """Why a feature is there: a closed list. A feature may have several."""

    RESONANCE = "resonance"
    EDGE_DIFFRACTION = "edge_diffraction"
    SPACED_SOURCES = "spaced_sources"
    CROSSOVER_MISALIGNMENT = "crossover_misalignment"
    DRIVER_DIRECTIVITY = "driver_directivity"
    VOICING = "voicing"
    PORT_OR_CAVITY = "port_or_cavity"
    ARTEFACT = "artefact"
    NONLINEAR = "nonlinear"
    THERMAL = "thermal"


#: Of what changes between drives. All others, and the artefact too, are there at any drive.
OF_LEVEL: Final = (Cause.THERMAL, Cause.NONLINEAR, Cause.ARTEFACT)
#: Of what stands out of the response at one drive.
OF_RESPONSE: Final = tuple(cause for cause in Cause if cause not in (Cause.NONLINEAR, Cause.THERMAL))


@dataclass(frozen=True, slots=True)
class CauseParameter:
    """A fitted physical parameter, in the unit of its name (`spacing_m`), with its 95 % interval."""

    name: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CauseSaid:
    """What is said of one cause.

    Attributes
    ----------
    probability
        That it is among the feature's causes, 0 … 1; of the others nothing follows.
    effect_db
        What the fitted mechanism does at the feature's places, to the feature's sign, in the mean; None where
        nothing was fitted, so that the probability is the prior alone.
    evidence, against
        What speaks for and against it, short and without digits.
    """

    cause: Cause
    probability: float
    effect_db: float | None
    parameters: tuple[CauseParameter, ...] = ()
    evidence: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FeatureCauses:
    """All causes of one feature, the most probable first, and the share that can't be told."""

    said: tuple[CauseSaid, ...]
    cannot_tell: float
    #: Why it can't be told; empty where it can.
    doubt: str = ""

    @property
    def runner_up(self) -> CauseSaid | None:
        """The second most probable."""
        return self.said[1] if len(self.said) > 1 else None

    def of(self, cause: Cause) -> CauseSaid | None:
        """What is said of one cause; None where nothing is."""
        return next((each for each in self.said if each.cause is cause), None)
