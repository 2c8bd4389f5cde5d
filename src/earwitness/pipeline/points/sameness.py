"""Whether what was measured twice came out alike: first and last take, repeats, calibrator."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.acoustics import gating
from earwitness.derive.pools import AVERAGED_DB
from earwitness.measurement.calibration import steady_tone
from earwitness.measurement.quality_bands import (
    levels_in_octaves_db,
    noise_of_levels_db,
    octave_levels_db,
    octave_middles_hz,
)
from earwitness.measurement.readers.signals import read_sounds
from earwitness.measurement.repeated import BY_GAIN
from earwitness.pipeline.points.material import Material, Teller, joined, named, series, verdict_of
from earwitness.records.grid import Floats
from earwitness.records.quality import Point, PointName, Series, Verdict
from earwitness.records.responses import Responses
from earwitness.records.sentences import Sentence, say
from earwitness.records.takes import Take, TakeId, TakeKey, TakeKind

#: Last less first take in an octave, beyond twice its uncertainty: to look at, unfit. A copper coil that is
#: 20 K warmer gives up to 0.7 dB less (0.39 % of resistance a kelvin); more isn't the warmth of a sweep.
FIRST_LAST_DB: Final = (0.3, 0.7)
#: A standard deviation of repeats in an octave: to look at; unfit, and not averaged.
REPEATS_DB: Final = (0.5, AVERAGED_DB)
#: Calibrator takes of one case; a class 1 calibrator itself holds to 0.25 dB (IEC 60942, recalled). Takes
#: that lie further than 0.5 dB apart are refused before anything is built.
CALIBRATION_DB: Final = 0.2


def first_last(material: Material) -> Point:
    """Whether the last take on axis is still what the first one was, and so the borrowed unit unharmed."""
    tell = Teller(PointName.FIRST_LAST)
    pair = _first_and_last(material)
    if pair is None:
        return tell.cannot_tell(
            "No direction on axis was measured again at the end, so a change of the unit can't be told.",
            "Take the first direction again last of all, as a repeat.",
        )
    rows, takes = list(pair), [material.responses.takes[i] for i in pair]
    level, noise = octave_levels_db(material.responses)[rows], noise_of_levels_db(material.responses)[rows]
    difference = level[1] - level[0]
    stated = material.facts.uncertainty.repeat_db or 0.0
    spread = np.sqrt(np.sum(noise**2, axis=0) + 2.0 * stated**2)
    size = np.where(np.abs(difference) > 2.0 * spread, np.abs(difference), 0.0)
    size = np.nan_to_num(size)
    worst = int(np.argmax(size)) if size.any() else int(np.nanargmax(np.abs(difference)))
    verdict = verdict_of(float(size[worst]), FIRST_LAST_DB)
    way = "louder" if difference[worst] > 0.0 else "quieter"
    amount = tell.db("worst_db", abs(float(difference[worst])), 2)
    where = say(" in the octave about ", tell.hz("worst_hz", octave_middles_hz()[worst]))
    about = say(" ± ", tell.db("uncertainty_db", float(spread[worst]), 2))
    if verdict is Verdict.FINE:
        sentence = say(
            "The last take on axis is what the first one was: they differ by ", amount, about, " at most,"
        )
        sentence = sentence + where + say(".")
    else:
        sentence = (
            say("The last take on axis is ", amount, f" {way} than the first,", about) + where + say(".")
        )
    return tell.point(
        verdict,
        sentence,
        say(
            "to look at from ",
            tell.db("look_db", FIRST_LAST_DB[0]),
            ", unfit from ",
            tell.db("unfit_db", FIRST_LAST_DB[1]),
            " beyond twice the uncertainty; the latter is what a coil loses that is ",
            tell.number("warmer_k", 20.0, "K"),
            " warmer (defined here)",
        ),
        say("Let it cool and take it again; if it stays, something changed: the unit, the place, or a level.")
        if verdict is not Verdict.FINE
        else say(),
        takes=[t.id for t in takes],
        series=(series("last less first", octave_middles_hz(), difference, spread),),
    )


def _first_and_last(material: Material) -> tuple[int, int] | None:
    """Rows of the first repeat on axis and of the last one on the same orbit and drive; None without."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for row, take in enumerate(material.responses.takes):
        d = take.key.direction
        if d is not None and d.angle_deg == 0.0 and material.responses.valid[row].any():
            groups.setdefault((d, take.key.drive), []).append(row)
    pairs = [
        sorted(g, key=lambda i: material.responses.takes[i].key.repeat) for g in groups.values() if len(g) > 1
    ]
    return (pairs[0][0], pairs[0][-1]) if pairs else None


def repeats(material: Material) -> Point:
    """How alike repeats are, and which of them were set aside."""
    tell = Teller(PointName.REPEATS)
    takes = material.responses.takes
    repeated = _measured_again(takes)
    aside = material.responses.set_aside
    if not repeated:
        return tell.cannot_tell(
            "Nothing was measured twice, so how well a take repeats isn't known.",
            "Repeat at least the take on axis; three of one direction show which is the odd one.",
        )
    level = octave_levels_db(material.responses)
    worst, whose = _farthest(level, repeated)
    limit = say(
        "to look at from ",
        tell.db("look_db", REPEATS_DB[0]),
        " of standard deviation in an octave, unfit from ",
        tell.db("unfit_db", REPEATS_DB[1]),
        " (defined here)",
    )
    verdict = verdict_of(worst, REPEATS_DB)
    scatter = _scatter(tell, len(repeated), worst)
    odd = next((k for k, rows in enumerate(repeated) if any(takes[i].id in aside for i in rows)), whose)
    picture = _beside_their_mean(material.responses, repeated[odd], aside)
    if aside:
        gains = [t.id for t in takes if t.id in aside and _by_gain(t, material.responses.notes)]
        return tell.point(
            Verdict.LOOK if verdict is Verdict.FINE else verdict,
            scatter + say(".") + _set_aside(aside, gains) + _not_averaged(material),
            limit,
            _why_set_aside(aside, gains),
            takes=aside,
            series=picture,
        )
    group = [takes[i].id for i in repeated[whose]]
    return tell.point(
        verdict,
        scatter + say(", at ", named(takes[repeated[whose][0]].key.label), ".") + _not_averaged(material),
        limit,
        say("Find out what moved between them, or record that direction again.")
        if verdict is not Verdict.FINE
        else say(),
        takes=group,
        series=picture,
    )


def _measured_again(takes: Sequence[Take]) -> list[list[int]]:
    """Rows of takes of one kind, direction and drive, where there is more than one."""
    groups: dict[TakeKey, list[int]] = {}
    for row, take in enumerate(takes):
        key = TakeKey(take.key.kind, take.key.direction, take.key.drive)
        groups.setdefault(key, []).append(row)
    return [rows for rows in groups.values() if len(rows) > 1]


def _scatter(tell: Teller, directions: int, worst_db: float) -> Sentence:
    return say(
        tell.count("directions", directions),
        " direction was measured more than once; repeats scatter by "
        if directions == 1
        else " directions were measured more than once; repeats scatter by ",
        tell.db("worst_db", worst_db, 2),
        " at most in an octave",
    )


def _beside_their_mean(responses: Responses, rows: Sequence[int], aside: Sequence[TakeId]) -> list[Series]:
    """Octave levels of repeats less the mean of those that weren't set aside, a line each.

    Of what was set aside only the gated response in time is left, so above the gate's reach they are told of
    that.
    """
    out = [responses.takes[row].id in aside for row in rows]
    level = _gated_levels_db(responses, rows) if any(out) else octave_levels_db(responses)[list(rows)]
    kept = np.array([not is_out for is_out in out])
    mean = level[kept if kept.any() else ~kept].mean(axis=0)
    names = [f"{number}, set aside" if is_out else f"{number}" for number, is_out in enumerate(out, 1)]
    return [series(name, octave_middles_hz(), one - mean) for name, one in zip(names, level, strict=True)]


def _gated_levels_db(responses: Responses, rows: Sequence[int]) -> Floats:
    """Octave levels of gated responses, dB, (R, B), from where the gate reaches."""
    f, rates = np.asarray(responses.frequency_hz, dtype=np.float64), np.asarray(responses.sample_rate_hz)
    found = np.stack([gating.spectra(responses.impulse_response[i], float(rates[i]), f, 0.0) for i in rows])
    reached = f >= np.nanmax(gating.valid_from_hz(np.asarray(responses.gate_s)[list(rows)]))
    power = np.abs(found).astype(np.float64) ** 2
    return levels_in_octaves_db(power, np.broadcast_to(reached & (power > 0.0), power.shape), f)


def _by_gain(take: Take, notes: Sequence[str]) -> bool:
    """Whether the reduction's notes say that a take was set aside since it has another gain."""
    return any(note.startswith(f"{take.path} was set aside") and note.endswith(BY_GAIN) for note in notes)


def _set_aside(aside: Sequence[TakeId], gains: Sequence[TakeId]) -> Sentence:
    rest = [take for take in aside if take not in gains]
    sentence = say(" Set aside, since they depart from the others: ", joined(rest), ".") if rest else say()
    if gains:
        sentence = sentence + say(
            " Set aside, since they are louder or quieter than the others by the same at all frequencies: ",
            joined(gains),
            ".",
        )
    return sentence


def _why_set_aside(aside: Sequence[TakeId], gains: Sequence[TakeId]) -> Sentence:
    """What to do; a gain makes no sound of its own, so listening helps nothing."""
    said = say("A gain was changed between them: look at knobs and at the stated drive.") if gains else say()
    if len(gains) < len(aside):
        heard = say("Listen to it: a door, a voice or a car. Record it again if you want its average.")
        said = said + say(" ") + heard if gains else heard
    return said


def _not_averaged(material: Material) -> Sentence:
    """Which takes count for repeats that disagree too far to be averaged."""
    powers = material.powers
    counts = (powers.mixing > 0.0).sum(axis=0).tolist()
    pools = {t.key.direction for t, one in zip(powers.takes, counts, strict=True) if not one}
    alone = [t.id for t, one in zip(powers.takes, counts, strict=True) if one and t.key.direction in pools]
    if not alone:
        return say()
    return say(" Repeats that disagree so far aren't averaged; the one nearest to their median counts: ") + (
        joined(alone) + say(".")
    )


def _farthest(level_db: Floats, groups: Sequence[Sequence[int]]) -> tuple[float, int]:
    """The greatest standard deviation of repeats in an octave, and of which group."""
    best, whose = 0.0, 0
    for number, rows in enumerate(groups):
        known = np.isfinite(level_db[list(rows)])
        enough = known.sum(axis=0) > 1
        if enough.any():
            spread = float(np.max(np.nanstd(level_db[list(rows)][:, enough], axis=0, ddof=1)))
            if spread > best:
                best, whose = spread, number
    return best, whose


def calibration(material: Material, raw: Path) -> Point:
    """Whether the chain's level drifted between calibrator takes."""
    tell = Teller(PointName.CALIBRATION)
    takes = material.of_kind(TakeKind.CALIBRATOR)
    if len(takes) < 2:
        return tell.cannot_tell(
            "The calibrator was recorded once, so a drift of the chain's level can't be told."
            if takes
            else "No calibrator was recorded.",
            "Record the calibrator before the first take and after the last.",
        )
    levels = np.array([_sensitivity_db(raw, take) for take in takes])
    apart = float(levels.max() - levels.min())
    drifted = apart > CALIBRATION_DB
    return tell.point(
        Verdict.LOOK if drifted else Verdict.FINE,
        say(
            tell.count("takes", len(takes)),
            " calibrator takes agree to " if not drifted else " calibrator takes differ by ",
            tell.db("apart_db", apart, 2),
            ".",
        ),
        say(
            "to look at from ",
            tell.db("limit_db", CALIBRATION_DB),
            " (defined here; a class one calibrator itself holds to a quarter of a decibel), refused from ",
            tell.db("refused_db", 0.5),
        ),
        say("Look at gain knobs and the calibrator's seat; take levels as that uncertain, and say so.")
        if drifted
        else say(),
        takes=[take.id for take in takes],
        series=(
            series("chain", np.arange(1, levels.size + 1), levels - levels[0]),
            series("limit", [1, levels.size], [CALIBRATION_DB, CALIBRATION_DB]),
            series("lower limit", [1, levels.size], [-CALIBRATION_DB, -CALIBRATION_DB]),
        ),
    )


def _sensitivity_db(raw: Path, take: Take) -> float:
    """Full scale RMS for the stated level, in dB."""
    recording = read_sounds(raw, [take])[0]
    samples = recording.samples[0].astype(np.float64)
    margin = samples.size // 10
    rms, _, _ = steady_tone(samples[margin : samples.size - margin], recording.sample_rate_hz)
    return float(20.0 * np.log10(rms)) - (take.level_db or 0.0)
