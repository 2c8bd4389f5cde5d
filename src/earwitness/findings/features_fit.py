"""What stands out of the response in one direction: found by chords, then fitted with the gate in the model.

A place stands out by how far the level there lies above (or below) the chord between the levels one arm
below and one arm above it; arms reach from 1/24 to 0.7 octave, and to the ends of the valid band where that
ends sooner. A bell stands out little more of a wider chord, and its flanks bend the other way; where a
slope merely bends, neither is so. The bell that stands out most is taken for a section of second order,
subtracted, and so on. Then all sections are fitted at once, with a smooth ground below them, each as what
the gate leaves of it. What doesn't stand out of the measured level itself over its own width is a shape of
the fit, not a feature, and is dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import BSpline

from earwitness.acoustics.sections import gated_sections, q_of_width, width_octaves
from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]

#: Arms of chords, octaves; at an end of the band an arm keeps this part of its length at least.
ARMS_OCTAVES: Final = (1 / 24, 1 / 16, 1 / 12, 1 / 8, 1 / 6, 1 / 4, 1 / 3, 1 / 2, 0.7)
SHORTER_ARM: Final = 1 / 3
#: Long arms gather what isn't one feature: what they find counts by its arm to this power less.
ARM_POWER: Final = 0.3
#: What is sought, and what is kept: dB out of the chord; and so many times the noise of a chord.
SOUGHT_DB, KEPT_DB, OVER_NOISE = 0.8, 1.0, 4.0
#: Over a chord twice as wide a bell stands out little more, a slope's bend four times as much (a parabola);
#: over one half as wide a bell stands out by 0.5 to 0.63 of it, a bend by a quarter. A bell's flanks bend the
#: other way.
WIDER, NARROWER = 2.5, 0.35
#: A section is itself so much of what stands out there at least: or it is another's ripple through a gate.
OWN_PART: Final = 0.4
#: Arms and places tried, re the fitted width.
TRIED_ARMS: Final = (0.6, 0.8, 1.0, 1.3)
TRIED_PLACES: Final = (-0.25, 0.0, 0.25)
#: Features above this are not sought.
HIGHEST_HZ: Final = 16_000.0
MOST_SECTIONS: Final = 24
#: A section stands this much less out of the chord than it is high, if its arm is its width.
CHORD_PART: Final = 0.8
#: The ground: knots so many octaves apart. Fits use every second point of the grid.
KNOTS_OCTAVES, EVERY = 0.8, 2
#: How far a fit may wander from where a chord found it: octaves, dB, a factor of Q (natural logarithm).
FREE: Final = np.array([0.06, 6.0, 0.6])
STEPS: Final = 10
#: Least misfit that is believed, dB; points of the fit that err alike.
LEAST_MISFIT_DB, ALIKE = 0.05, 4.0
LEAST_Q, MOST_Q, MOST_DB = 0.55, 200.0, 40.0


@dataclass(frozen=True, slots=True)
class Sections:
    """K sections in one direction, each array (K,), and K × 3 standard uncertainties of log₂ f, dB, ln Q.

    `shown_db` is how far the measured level stands out of its chord.
    """

    centre_hz: Float64s
    gain_db: Float64s
    q: Float64s
    uncertainty: Float64s
    shown_db: Float64s

    @property
    def width_octaves(self) -> Float64s:
        """At half gain."""
        return width_octaves(self.gain_db, self.q)


def chords_db(level_db: Float64s, arm: int) -> Float64s:
    """How far each point lies out of the chord over an arm of points to each side, (F,).

    Arms end with the band; NaN where one of them is too short for that.
    """
    here = np.arange(level_db.size)
    low, high = np.maximum(here - arm, 0), np.minimum(here + arm, level_db.size - 1)
    usable = np.minimum(here - low, high - here) >= SHORTER_ARM * arm
    share = (here - low) / np.maximum(high - low, 1)
    chord = (1.0 - share) * level_db[low] + share * level_db[high]
    return np.asarray(np.where(usable, level_db - chord, np.nan))


def bells_db(level_db: Float64s) -> Float64s:
    """How far bells stand out of a level, one row an arm, (A, F); 0 where it bends but holds no bell."""
    found = np.zeros((len(ARMS_OCTAVES), level_db.size))
    for row, octaves in enumerate(ARMS_OCTAVES):
        arm = round(octaves * POINTS_PER_OCTAVE)
        here, wider, narrower = (chords_db(level_db, n) for n in (arm, 2 * arm, arm // 2))
        sign = np.sign(here)
        flanks = np.full((2, level_db.size), np.nan)
        flanks[0, arm:], flanks[1, :-arm] = narrower[:-arm], narrower[arm:]
        size = np.abs(here)
        bell = (narrower * sign >= NARROWER * size) & ~(wider * sign > WIDER * size)
        bell &= ~(flanks * sign > 0.0).any(axis=0)
        found[row, bell] = here[bell]
    return found


def stands_out_db(level_db: Float64s, at: float, arm: float) -> float:
    """How far a level on the grid lies out of the chord at a fractional index, over fractional points."""
    index = np.arange(level_db.size)
    low, high = max(at - arm, 0.0), min(at + arm, level_db.size - 1.0)
    below, here, above = np.interp([low, at, high], index, level_db)
    share = (at - low) / (high - low)
    return float(here - (1.0 - share) * below - share * above)


def bell_db(level_db: Float64s, at: float, width: float, sign: float) -> float:
    """How far a bell of about that width and sign stands out near a fractional index; 0 where none does.

    The best of some arms about the width and some places about the middle where a bell is seen, and no bend.
    """
    most = 0.0
    for arm in width * np.array(TRIED_ARMS):
        for place in at + width * np.array(TRIED_PLACES):
            if not 1.0 <= place <= level_db.size - 2.0:
                continue
            here, wider, narrower = (
                sign * stands_out_db(level_db, place, part * arm) for part in (1.0, 2.0, 0.5)
            )
            if here <= most or wider > WIDER * here or narrower < NARROWER * here:
                continue
            flanks = [
                sign * stands_out_db(level_db, beside, 0.5 * arm)
                for beside in (place - arm, place + arm)
                if 1.0 <= beside <= level_db.size - 2.0
            ]
            if max(flanks, default=0.0) <= 0.0:
                most = here
    return float(sign * most)


def fit_sections(frequency_hz: Float64s, level_db: Float64s, noise_db: Float64s, gate_s: float) -> Sections:
    """The sections of a level (F,) on a stretch of the derived grid.

    Parameters
    ----------
    noise_db
        Standard uncertainty of single points, (F,).
    gate_s
        The gate's length, infinite where there is none.
    """
    start = _pursued(frequency_hz, level_db, noise_db, gate_s)
    if not len(start):
        return Sections(*(np.zeros(0),) * 3, np.zeros((0, 3)), np.zeros(0))
    fitted, uncertainty = _refined(frequency_hz[::EVERY], level_db[::EVERY], noise_db[::EVERY], gate_s, start)
    centre, gain, q = 2.0 ** fitted[:, 0], fitted[:, 1], np.exp(fitted[:, 2])
    at = (np.log2(centre) - np.log2(frequency_hz[0])) * POINTS_PER_OCTAVE
    resolved = 1.0 / (np.log(2.0) * centre * gate_s)
    arms = np.maximum(np.maximum(width_octaves(gain, q), resolved), ARMS_OCTAVES[0]) * POINTS_PER_OCTAVE
    shown = np.array([bell_db(level_db, *each) for each in zip(at, arms, np.sign(gain), strict=True)])
    noise = OVER_NOISE * np.sqrt(1.5) * np.interp(at, np.arange(noise_db.size), noise_db)
    inside = (at >= 1.0) & (at <= level_db.size - 2.0) & (centre <= HIGHEST_HZ)
    heights = np.abs(_levels(frequency_hz, fitted, gate_s)).max(axis=1)
    inside &= heights >= OWN_PART * np.abs(shown)
    kept = inside & (np.abs(shown) >= np.maximum(KEPT_DB, noise))
    return Sections(centre[kept], gain[kept], q[kept], uncertainty[kept], shown[kept])


def _pursued(frequency_hz: Float64s, level_db: Float64s, noise_db: Float64s, gate_s: float) -> Float64s:
    """Rows of log₂ f, dB, ln Q, what stands out most first."""
    rest, found = level_db.copy(), []
    least = np.maximum(SOUGHT_DB, OVER_NOISE * np.sqrt(1.5) * noise_db)
    weight = (np.array(ARMS_OCTAVES) / ARMS_OCTAVES[0])[:, None] ** -ARM_POWER
    for _ in range(MOST_SECTIONS):
        chords = bells_db(rest)
        size = np.where(np.abs(chords) >= least, np.abs(chords) * weight, 0.0)
        row, at = np.unravel_index(int(np.argmax(size)), size.shape)
        if size[row, at] == 0.0:
            break
        gain = float(np.clip(chords[row, at] / CHORD_PART, -MOST_DB, MOST_DB))
        q = float(np.clip(q_of_width(gain, ARMS_OCTAVES[row]), LEAST_Q, MOST_Q))
        section = np.array([np.log2(frequency_hz[at]), gain, np.log(q)])
        found.append(section)
        rest -= _levels(frequency_hz, section[None], gate_s)[0]
    return np.array(found).reshape(-1, 3)


def _levels(frequency_hz: Float64s, sections: Float64s, gate_s: float) -> Float64s:
    """Levels (K, F) of gated sections given as rows of log₂ f, dB, ln Q."""
    response = gated_sections(
        frequency_hz, 2.0 ** sections[:, 0], sections[:, 1], np.exp(sections[:, 2]), gate_s
    )
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(response), 1e-4)))


def _refined(
    frequency_hz: Float64s, level_db: Float64s, noise_db: Float64s, gate_s: float, start: Float64s
) -> tuple[Float64s, Float64s]:
    """All sections at once over a ground of splines: damped Gauss-Newton steps, and uncertainties."""
    ground = _ground(frequency_hz)
    weight = 1.0 / np.hypot(noise_db, LEAST_MISFIT_DB)
    count = len(start)
    sections, prior = start.copy(), np.tile(1.0 / FREE, (count, 1))
    damping, best = 1e-2, np.inf
    kept, misfit = sections, 1.0
    covariance: Float64s = np.eye(3 * count)
    for _ in range(STEPS):
        levels = _levels(frequency_hz, sections, gate_s)
        base = np.linalg.lstsq(
            ground * weight[:, None], (level_db - levels.sum(axis=0)) * weight, rcond=None
        )[0]
        off = (level_db - levels.sum(axis=0) - ground @ base) * weight
        pull = (start - sections) * prior
        cost = float(np.sum(off**2) + np.sum(pull**2))
        if cost < best:
            improved = best - cost
            slopes = _slopes(frequency_hz, sections, levels, gate_s)
            whole = np.concatenate([slopes, ground.T]).T * weight[:, None]
            normal = whole.T @ whole
            normal[: 3 * count, : 3 * count] += np.diag(prior.ravel() ** 2)
            right = whole.T @ off
            right[: 3 * count] += (pull * prior).ravel()
            kept, best, damping = sections, cost, 0.3 * damping
            misfit = float(np.mean(off**2))
            covariance = np.asarray(np.linalg.pinv(normal)[: 3 * count, : 3 * count], dtype=np.float64)
            if improved < 1e-3 * cost:
                break
        else:
            damping *= 10.0
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)[: 3 * count]
        sections = _bounded(kept + step.reshape(count, 3))
    spread = np.sqrt(np.maximum(np.diag(covariance), 0.0) * max(misfit, 1.0) * ALIKE)
    return kept, spread.reshape(count, 3)


def _slopes(frequency_hz: Float64s, sections: Float64s, levels: Float64s, gate_s: float) -> Float64s:
    """Derivatives (3K, F) of the levels by differences, in the order of the parameters."""
    deltas = np.array([1e-4, 1e-3, 1e-3])
    moved = sections[:, None, :] + np.diag(deltas)
    there = _levels(frequency_hz, moved.reshape(-1, 3), gate_s)
    return np.asarray((there - np.repeat(levels, 3, axis=0)) / np.tile(deltas, len(sections))[:, None])


def _bounded(sections: Float64s) -> Float64s:
    low = np.array([-np.inf, -MOST_DB, np.log(LEAST_Q)])
    high = np.array([np.inf, MOST_DB, np.log(MOST_Q)])
    return np.clip(sections, low, high)


def _ground(frequency_hz: Float64s) -> Float64s:
    """Cubic splines over log frequency, (F, M)."""
    octaves = np.log2(frequency_hz)
    pieces = max(round((octaves[-1] - octaves[0]) / KNOTS_OCTAVES), 1)
    inner = np.linspace(octaves[0], octaves[-1], pieces + 1)
    knots = np.concatenate([[inner[0]] * 3, inner, [inner[-1]] * 3])
    return np.asarray(BSpline.design_matrix(octaves, knots, 3).toarray())
