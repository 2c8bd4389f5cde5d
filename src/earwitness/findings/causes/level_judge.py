"""Causes of a change with the level: which set of mechanisms makes it, and how probable each is.

Heat (`thermal`), a limiter and a driver's bend (`nonlinear`), and pairs of them, are fitted to the change
over frequency at the highest drive by least squares; where the whole response changes alike, a drive that
isn't what is stated does as well (`artefact`). A set's weight is its prior, times its likelihood with as many
numbers as were chosen (Schwarz's criterion, 1978; recalled), times that of how the change grew from drive to
drive, and of the harmonics beside it; a load that lasted (`LongTerm`) raises or lowers what it saw. The
probability of a cause is the weight of the sets in which it does half of the largest effect at least. Limits,
spreads and priors were set by hand on tuning seeds (docs/evaluation.md).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes import nonlinear, thermal
from earwitness.findings.causes.level_fit import Part, Told, sets_of
from earwitness.findings.causes.stretch import Stretch
from earwitness.records.causes import Cause, CauseParameter, CauseSaid, FeatureCauses
from earwitness.records.long_term import CauseVerdict, LoadCause, LongTerm

Float64s = npt.NDArray[np.float64]

#: How often each is there, before anything is looked at; a bend in the bass and above.
PRIOR: Final[Mapping[Part, float]] = {Part.HEAT: 0.5, Part.LIMITER: 0.15, Part.MISSTATED: 0.05}
ACTIVE_LIMITER: Final = 0.5
#: Where no impedance is known, heat and a limiter look alike, and none is preferred.
ALIKE_PRIOR: Final = 0.3
#: Then a cause is told where it is as probable as this; else so much of it can't be told.
SURE, UNTOLD = 0.9, 0.6
BEND_BELOW, BEND_ABOVE = 0.5, 0.1
#: Odds by which a run under load raises what it saw act, and lowers what it didn't.
LOAD_ODDS: Final = 4.0
#: What the best set leaves of the change: from the first on doubt grows, at the second nothing is told.
DOUBT, HOPELESS = 0.3, 0.7
#: Natural logarithms of a likelihood ratio that are worth a word.
WORTH: Final = 1.5


def causes_of_change(stretch: Stretch, long_term: LongTerm, *, active: bool = False) -> FeatureCauses:
    """How probable each cause of one band's change is."""
    sets = sets_of(stretch, priors(stretch, long_term, active=active))
    weights = np.array([one.weight for one in sets])
    share = np.exp(weights - weights.max())
    share = share / share.sum()
    best = sets[int(np.argmax(share))]
    said = [_said(cause, stretch, sets, share) for cause in (thermal.CAUSE, nonlinear.CAUSE)]
    if stretch.whole:
        said.append(_said(Cause.ARTEFACT, stretch, sets, share))
    size = float(np.sqrt(np.mean(stretch.change_db[stretch.inside] ** 2)))
    left = float(np.sqrt(np.mean(best.left[stretch.inside] ** 2))) / size
    doubt = float(np.clip((left - DOUBT) / (HOPELESS - DOUBT), 0.0, 1.0))
    why = "neither heat, nor a limiter, nor a drive unit at its limit explains it" if doubt > 0.0 else ""
    if stretch.ohms is None and max(each.probability for each in said) < SURE and doubt < UNTOLD:
        doubt, why = UNTOLD, "no impedance is known, which would tell heat from a limit"
    return FeatureCauses(tuple(sorted(said, key=lambda each: -each.probability)), doubt, why)


def priors(stretch: Stretch, long_term: LongTerm, *, active: bool) -> dict[Part, float]:
    """How probable each mechanism is before this change is looked at: by kind, band, and a run under load."""
    low = stretch.change.frequency_hz < nonlinear.BASS_HZ
    found = dict(PRIOR)
    found[Part.BEND] = BEND_BELOW if low else BEND_ABOVE
    if active:
        found[Part.LIMITER] = ACTIVE_LIMITER
    elif stretch.ohms is None:
        found[Part.HEAT] = found[Part.LIMITER] = ALIKE_PRIOR
    if long_term.endurance is not None:
        for part, cause in (
            (Part.HEAT, LoadCause.HEAT),
            (Part.LIMITER, LoadCause.LIMITER),
            (Part.BEND, LoadCause.MOTION),
        ):
            verdict = long_term.endurance.weighed(cause).verdict
            if verdict is not CauseVerdict.CANNOT_TELL:
                factor = LOAD_ODDS if verdict is CauseVerdict.ACTS else 1.0 / LOAD_ODDS
                odds = factor * found[part] / (1.0 - found[part])
                found[part] = odds / (1.0 + odds)
    return found


def _said(cause: Cause, stretch: Stretch, sets: Sequence[Told], share: Float64s) -> CauseSaid:
    counts = np.array([cause in one.causes for one in sets])
    probability = float(np.clip(share[counts].sum(), 0.0, 1.0))
    mine = max((one for one in sets if cause in one.causes), key=lambda one: one.weight, default=None)
    others = max((one for one in sets if cause not in one.causes), key=lambda one: one.weight, default=None)
    if mine is None:
        return CauseSaid(cause, probability, 0.0)
    effect = mine.causes[cause]
    parameters: tuple[CauseParameter, ...] = ()
    if cause is thermal.CAUSE and mine.ohms is not None:
        parameters = (CauseParameter("added_ohm", *mine.ohms),)
    evidence, against = _words(cause, mine, others, stretch)
    return CauseSaid(cause, probability, effect, parameters, evidence, against)


def _words(
    cause: Cause, mine: Told, others: Told | None, stretch: Stretch
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What speaks for and against a cause: where its best set is likelier than the best without it."""
    if others is None:
        return (), ()
    evidence: list[str] = []
    against: list[str] = []
    told = [("shape", mine.shape - others.shape), ("course", mine.course - others.course)]
    told.append(("harmonics", mine.harmonics - others.harmonics))
    for what, ratio in told:
        if abs(ratio) >= WORTH:
            (evidence if ratio > 0.0 else against).append(_WORDS[cause, what][ratio < 0.0])
    if cause is thermal.CAUSE and stretch.ohms is None:
        against.append("no impedance is known that it could follow")
    if cause is nonlinear.CAUSE and Part.LIMITER in mine.parts and Part.BEND not in mine.parts:
        evidence.append("a band is held alike, as a limiter does")
    return tuple(evidence), tuple(against)


_WORDS: Final[Mapping[tuple[Cause, str], tuple[str, str]]] = {
    (Cause.THERMAL, "shape"): (
        "it follows the impedance, and is least where that peaks",
        "it doesn't follow the impedance",
    ),
    (Cause.THERMAL, "course"): (
        "it grows with the power, as heat does",
        "it doesn't grow with the power, as heat would",
    ),
    (Cause.THERMAL, "harmonics"): (
        "there are fewer harmonics than a drive unit at its limit would add",
        "there are as many harmonics as a drive unit at its limit adds",
    ),
    (Cause.NONLINEAR, "shape"): (
        "where it acts the impedance has no say",
        "it follows the impedance, which a limit wouldn't",
    ),
    (Cause.NONLINEAR, "course"): (
        "it grows with the drive as something at its limit does",
        "it grows otherwise than something at its limit does",
    ),
    (Cause.NONLINEAR, "harmonics"): (
        "harmonics are as strong as a drive unit at its limit makes them",
        "there are fewer harmonics than a drive unit at its limit would add",
    ),
    (Cause.ARTEFACT, "shape"): ("all frequencies change alike", "not all frequencies change alike"),
    (Cause.ARTEFACT, "course"): (
        "from drive to drive it changes without order",
        "it grows steadily with the drive",
    ),
    (Cause.ARTEFACT, "harmonics"): ("few harmonics come with it", "harmonics come with it"),
}
