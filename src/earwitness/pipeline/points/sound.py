"""What the recordings themselves tell: their level, their noise, hum."""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.acoustics.damage import LOST_S
from earwitness.acoustics.noise import LEAST_SNR_DB
from earwitness.measurement.calibration import calibrate
from earwitness.measurement.heard import Heard, hum_in
from earwitness.measurement.quality_bands import octave_middles_hz, signal_to_noise_db
from earwitness.pipeline.points.material import Material, Teller, joined, named, series
from earwitness.records.grid import REFERENCE_PRESSURE_PA, Floats
from earwitness.records.quality import Point, PointName, Verdict
from earwitness.records.sentences import Sentence, Term, say
from earwitness.records.takes import TakeId, TakeKind

#: Peaks nearer to full scale than this leave no room for a louder take.
NEAR_FULL_SCALE_DB: Final = -1.0
#: On axis, in every octave: fine from here, and unfit below that. 30 dB leaves 0.2 dB of uncertainty, 20 dB
#: leaves 0.6 dB (`acoustics.noise.level_uncertainty_db`).
ON_AXIS_DB: Final = (20.0, 30.0)
#: In other directions, in octaves up to that of 4 kHz: higher up little goes to the rear, and little counts.
ELSEWHERE_DB: Final = 20.0
ELSEWHERE_TO_HZ: Final = 5_700.0
#: A mains line that stands so far over the noise beside it is hum: of noise alone the greatest of the lines
#: stands over 12 dB less than once in a thousand recordings (computed).
HUM_DB: Final = 12.0


def recordings(material: Material) -> Point:
    """Whether every recording holds its whole sweep; those that don't are refused before a build."""
    tell = Teller(PointName.RECORDINGS)
    heard = _heard(material)
    if not heard:
        return tell.cannot_tell(
            "What came are responses, and no recordings: whether samples were lost can't be told.",
            "Keep the recordings.",
        )
    limit = say(
        "refused: zeros for ",
        tell.number("lost_ms", 1e3 * LOST_S, "ms"),
        " within sound, an end before the sweep's, another sweep or sample rate; unfit: two that are "
        "alike to the last sample, which noise never lets two measurements be",
    )
    copies = _copies(material, heard)
    if copies:
        pairs = [f"{other} like {one}" for one, other in copies]
        return tell.point(
            Verdict.UNFIT,
            say(
                "Alike to the last sample, so one is a copy of the other, and no measurement: ",
                joined(pairs, 6),
                "; pairs in all: ",
                tell.count("copies", len(copies)),
                ".",
            ),
            limit,
            say("Take the copy out with earwitness remove, and record what its name says."),
            takes=sorted({take for pair in copies for take in pair}),
        )
    return tell.point(
        Verdict.FINE,
        say(
            "All ",
            tell.count("recordings", len(heard)),
            " recordings hold their whole sweep; none lost samples, none is a copy of another.",
        ),
        limit,
    )


def clipping(material: Material) -> Point:
    """Whether recordings have crests that were cut off; those that do are refused before a build."""
    tell = Teller(PointName.CLIPPING)
    heard = _heard(material)
    if not heard:
        return tell.cannot_tell(
            "What came are responses, and no recordings: whether something clipped can't be told.",
            "Keep the recordings, and look at their peaks.",
        )
    loudest = max(heard, key=lambda take: heard[take].peak)
    peak_db = 20.0 * np.log10(max(heard[loudest].peak, 1e-10))
    limit = say(
        "refused: three samples in a row at full scale, or eight crests with flat tops; to look at: "
        "a peak above ",
        tell.db("limit_db", NEAR_FULL_SCALE_DB, 0),
        " re full scale (defined here)",
    )
    close = peak_db > NEAR_FULL_SCALE_DB
    count = np.arange(1, len(heard) + 1)
    peaks = 20.0 * np.log10(np.maximum([one.peak for one in heard.values()], 1e-10))
    return tell.point(
        Verdict.LOOK if close else Verdict.FINE,
        say(
            "No recording is clipped, at full scale or below it; the greatest peak is ",
            tell.db("peak_db", peak_db),
            " re full scale, in ",
            named(loudest),
            ".",
        ),
        limit,
        say("Lower the recording level by a few decibels before the next take.") if close else say(),
        takes=[loudest],
        series=(
            series("peaks", count, peaks),
            series("limit", count[[0, -1]], [NEAR_FULL_SCALE_DB, NEAR_FULL_SCALE_DB]),
        ),
    )


def signal_to_noise(material: Material) -> Point:
    """How far the sound stands over the noise in each octave, after the gate."""
    tell = Teller(PointName.SIGNAL_TO_NOISE)
    found = signal_to_noise_db(material.responses)
    told = np.isfinite(found)
    if not told.any():
        return tell.cannot_tell(
            "Noise can't be told: responses that came as they are hold none.",
            "Record a stretch of silence before the sweep, or keep the recordings.",
        )
    takes, middles = material.responses.takes, octave_middles_hz()
    on_axis = np.array([d.angle_deg == 0.0 for d in material.directions])
    needed = np.where(on_axis[:, None], ON_AXIS_DB[1], ELSEWHERE_DB) + np.zeros(found.shape)
    needed[~on_axis[:, None] & (middles > ELSEWHERE_TO_HZ)] = np.nan
    short = np.where(told & np.isfinite(needed), found - needed, np.inf)
    counted = np.where(np.isfinite(short), short, np.inf)
    row, band = np.unravel_index(int(np.argmin(counted)), counted.shape)
    if not np.isfinite(counted[row, band]):
        row, band = np.unravel_index(int(np.nanargmin(found)), found.shape)
    unfit = on_axis[:, None] & told & (found < ON_AXIS_DB[0])
    below = counted < 0.0
    verdict = Verdict.UNFIT if unfit.any() else Verdict.LOOK if below.any() else Verdict.FINE
    worst = say(
        tell.db("worst_db", found[row, band], 0),
        " in the octave about ",
        tell.hz("worst_hz", middles[band]),
        " in ",
        named(takes[int(row)].id),
        ", ",
        named(_where(material, int(row))),
    )
    if verdict is Verdict.FINE:
        sentence = say(
            "The sound stands well over the noise in every octave that counts; least: ", worst, "."
        )
    else:
        many = len(np.flatnonzero(below.any(axis=-1)))
        sentence = say("Noise is too near in ", tell.count("takes", many), " takes; most: ", worst, ".")
    return tell.point(
        verdict,
        sentence,
        _snr_limit(tell),
        _quieter(middles[band]) if verdict is not Verdict.FINE else say(),
        takes=[takes[int(row)].id],
        series=(
            series("on axis", middles, _least(found[on_axis])),
            series("middle of all takes", middles, _middle(found)),
            series("worst take", middles, _least(found)),
        ),
    )


def _snr_limit(tell: Teller) -> Sentence:
    return say(
        "fine from ",
        tell.db("fine_db", ON_AXIS_DB[1], 0),
        " on axis, which leaves ",
        tell.db("leaves_db", 6.14 * 10.0 ** (-ON_AXIS_DB[1] / 20.0)),
        " of uncertainty; unfit below ",
        tell.db("unfit_db", ON_AXIS_DB[0], 0),
        " there; elsewhere to look at below ",
        tell.db("elsewhere_db", ELSEWHERE_DB, 0),
        " up to the octave of ",
        Term("4 kHz"),
        " (defined here); under ",
        tell.db("hidden_db", LEAST_SNR_DB, 0),
        " nothing is valid",
    )


def _quieter(at_hz: float) -> Sentence:
    if at_hz < 200.0:
        return say("Take a longer sweep, or measure when traffic and ventilation are quiet.")
    return say("Take a longer sweep or more repeats, or find what makes the noise; louder only with care.")


def _where(material: Material, row: int) -> str:
    return material.directions[row].label


def _least(values: Floats) -> Floats:
    known = np.isfinite(values)
    return np.where(
        known.any(axis=0), np.min(np.where(known, values, np.inf), axis=0, initial=np.inf), np.nan
    )


def _middle(values: Floats) -> Floats:
    known = np.isfinite(values).any(axis=0)
    result = np.full(values.shape[-1], np.nan)
    result[known] = np.nanmedian(values[:, known], axis=0)
    return result


def hum(material: Material, raw: Path) -> Point:
    """Whether multiples of the mains frequency stand over the noise beside them.

    `raw` is where the calibrator's recording lies, which tells how loud hum is.
    """
    tell = Teller(PointName.HUM)
    found = hum_in(list(_heard(material).values()))
    if found is None:
        return tell.cannot_tell(
            "No recording goes on long enough after the sweep's bass for hum to be told.",
            "Record on for a second after the sweep.",
        )
    limit = say(
        "to look at from ",
        tell.db("limit_db", HUM_DB, 0),
        " over the noise beside it, which noise alone reaches less than once in a thousand recordings "
        "(computed)",
    )
    over = tell.db("over_db", found.over_db, 0)
    multiples = found.mains_hz * np.arange(1, found.each_db.size + 1)
    picture = (
        series("multiples", multiples, found.each_db),
        series("limit", multiples[[0, -1]], [HUM_DB, HUM_DB]),
    )
    if found.over_db < HUM_DB:
        return tell.point(
            Verdict.FINE,
            say("No mains hum: its strongest multiple stands ", over, " over the noise."),
            limit,
            series=picture,
        )
    level = say()
    rig = material.facts.rig
    if material.of_kind(TakeKind.CALIBRATOR) or rig.pa_per_full_scale is not None:
        pascals = calibrate(raw, material.takes, rig.pa_per_full_scale).pa_per_full_scale
        spl = 20.0 * np.log10(found.level * pascals / REFERENCE_PRESSURE_PA)
        level = say(", at ", tell.db("level_db", spl, 0), " of sound pressure level")
    return tell.point(
        Verdict.LOOK,
        say(
            "The mains hums at ",
            tell.number("at_hz", found.at_hz, "Hz"),
            ", ",
            over,
            " over the noise beside it",
            level,
            ", in the mean of ",
            tell.count("recordings", found.recordings),
            " recordings.",
        ),
        limit,
        say(
            "Use balanced cables and one mains outlet for all, and keep the microphone's cable off mains "
            "cables; look at signal to noise in that octave."
        ),
        series=picture,
    )


def _copies(material: Material, heard: Iterable[TakeId]) -> list[tuple[TakeId, TakeId]]:
    """Recordings whose responses are the same bits, each with the first of its likes."""
    first: dict[bytes, TakeId] = {}
    found = []
    for take in heard:
        response = material.impulse_responses[take]
        bits = sha256(response.samples.tobytes() + response.noise.tobytes()).digest()
        if bits in first:
            found.append((first[bits], take))
        else:
            first[bits] = take
    return found


def _heard(material: Material) -> dict[TakeId, Heard]:
    responses = material.impulse_responses
    return {take: r.heard for take, r in sorted(responses.items()) if r.heard is not None}
