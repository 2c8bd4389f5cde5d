"""Whether a band contains the truth as often as it says: cases whose errors are what the case states.

**The case.** A loudspeaker and a rig that the generator draws, under the bench's noise: on axis on both
orbits, ±10° beside it, the near fields, and none, one or two repeats. The case states standard
uncertainties, and the world is off by draws from them:

- *microphone*: the calibration file's levels are off by a smooth error, 0.3 dB at every frequency, that is
  Gaussian and loses its memory over 0.5 to 2 octaves, drawn by case;
- *level*: the chain's stated sensitivity is off by 0.2 dB;
- *angle*: each take's angle is off by 1°, each repeat's by another;
- *temperature*: the air's stated temperature is off by 1 K.

Noise, the gate's truncation and the splice are as they are. What nobody knows isn't varied: positions,
distances, the near microphone's gap, the cabinet's sizes and faces and the air's humidity are exactly as
stated. The air absorbs (0.7 dB at 16 kHz on 1.5 m at 27 %); truth is that of air that absorbs nothing.

**The count.** The band is level ± 1.96 standard uncertainties of the on-axis curve, at fixed frequencies a
third of an octave apart (1000·2^(k/3) Hz), where the curve is valid. It is a band for single points: at any
one frequency it shall hold the truth in 95 % of cases. Errors of one case go together over frequency (a
level error moves all points), so points of one case aren't trials of their own; cases are. Hence two
numbers, each with the case as its unit:

- `share`: every case gives the share of its points inside; the mean over cases. Its standard error is from
  the scatter of those shares over cases, not from the number of points.
- `count`: for every case a lot, from the case's seed alone, picks one of its valid points; the case counts
  where truth lies inside there. That is the plain count of 200 independent trials which the pointwise
  promise is about, with a standard error of 1.5 % at 95 %. To ask instead that all points of a case lie
  inside would test a band that nobody states: with some five independent errors over ten octaves a right
  pointwise band does so in some 80 % of cases.

Both shall lie in 93 to 97 %. A share that is right on the whole may be too wide here and too narrow there,
so the table gives it by region as well, with the root mean square of error over uncertainty, which is 1
where all is well.

Seeds 1000-1199 are for tuning, 1-200 for evaluation.
"""

from __future__ import annotations

import dataclasses
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from accuracy.against_truth import TENTH_FROM_GATES
from accuracy.bench import Measured, Recorded, measure, quiet, record
from accuracy.loudspeakers import Made, drawn

from earwitness.records.curves import CurveName
from earwitness.records.errors import EarwitnessError
from earwitness.records.responses import Origin
from earwitness.records.takes import ON_AXIS
from earwitness.virtual import truth
from earwitness.virtual.files import MICROPHONE

Floats = npt.NDArray[np.floating]

#: Standard uncertainties that cases state.
MICROPHONE_DB, LEVEL_DB, ANGLE_DEG, TEMPERATURE_K = 0.3, 0.2, 1.0, 1.0
STATED: Final = {
    "microphone_db": MICROPHONE_DB,
    "level_db": LEVEL_DB,
    "angle_deg": ANGLE_DEG,
    "temperature_k": TEMPERATURE_K,
}
#: 95 % of a Gaussian lie within so many standard deviations.
TIMES: Final = 1.96
#: Third octaves from 20 Hz to 20 kHz; each is a point of the derived grid.
THIRDS_HZ: Final = 1000.0 * 2.0 ** (np.arange(-16, 13) / 3.0)
REPEATS: Final = (0, 1, 2)
REGIONS: Final = ("near field", "overlap", "gated to 3.3/T", "gated above")


@dataclass(frozen=True)
class Banded:
    """One case at those of `THIRDS_HZ` where it is valid: P points.

    `error_db` is stated less true level, `uncertainty_db` one standard uncertainty, `region` an index into
    `REGIONS`; `lot` is the point that counts for the case. `refused` is what the product said where it gave
    no curve; then there are no points.
    """

    seed: int
    shape: str
    frequency_hz: Floats
    error_db: Floats
    uncertainty_db: Floats
    region: npt.NDArray[np.intp]
    lot: int
    refused: str = ""

    @property
    def inside(self) -> npt.NDArray[np.bool_]:
        """Where truth lies within the band, shape (P,)."""
        return np.asarray(np.abs(self.error_db) <= TIMES * self.uncertainty_db)


@dataclass(frozen=True)
class Share:
    """A share of cases with its standard error, and how many there were."""

    value: float
    error: float
    cases: int

    def __str__(self) -> str:
        return f"{100.0 * self.value:5.1f} ± {100.0 * self.error:3.1f} % of {self.cases}"


def banded(seed: int) -> Banded:
    """One case, from its drawing to its band."""
    made = drawn(seed, absorbing=True)
    folder = Path(tempfile.mkdtemp(prefix="accuracy_"))
    try:
        return _points(seed, measure_astray(seed, made, folder))
    except EarwitnessError as error:
        nothing = np.zeros(0)
        return Banded(
            seed, _shape(made), nothing, nothing, nothing, np.zeros(0, dtype=np.intp), -1, str(error)
        )
    finally:
        shutil.rmtree(folder)


def measure_astray(seed: int, made: Made, folder: Path) -> Measured:
    """A case that is off by what it states."""
    lots = np.random.default_rng([seed, 95])
    session = quiet(made)
    turntable = dataclasses.replace(session.turntable, angle_spread_deg=ANGLE_DEG, angle_offset_deg=0.0)
    session = dataclasses.replace(session, turntable=turntable, warming_k=0.0)
    recorded = record(made, folder, repeats=int(lots.choice(REPEATS)), session=session)
    _misread_microphone(recorded, lots)
    rig = made.facts["rig"]
    off = {
        "pa_per_full_scale": rig["pa_per_full_scale"] * 10.0 ** (LEVEL_DB * lots.normal() / 20.0),
        "temperature_c": rig["temperature_c"] + TEMPERATURE_K * lots.normal(),
    }
    return measure(recorded, {"rig": off, "uncertainty": STATED})


def share_of(cases: Sequence[Banded], region: int | None = None) -> Share:
    """The mean over cases of the share of their points inside, of one region or of all."""
    chosen = [c.inside if region is None else c.inside[c.region == region] for c in cases]
    shares = np.array([inside.mean() for inside in chosen if inside.size])
    return _share(shares)


def count_of(cases: Sequence[Banded]) -> Share:
    """The share of cases whose lot lies inside."""
    return _share(np.array([float(c.inside[c.lot]) for c in cases if c.lot >= 0]))


def root_mean_square(cases: Sequence[Banded], region: int | None = None) -> float:
    """Of error over uncertainty."""
    ratio = np.concatenate([c.error_db / c.uncertainty_db for c in cases])
    where = np.concatenate([c.region for c in cases])
    chosen = ratio if region is None else ratio[where == region]
    return float(np.sqrt(np.mean(chosen**2))) if chosen.size else np.nan


def smooth_error_db(frequency_hz: Floats, octaves: float, generator: np.random.Generator) -> Floats:
    """A Gaussian error of unit variance, whose correlation is exp(−(d/w)²/2) over d octaves; shape (F,)."""
    place = np.log2(frequency_hz)
    apart = place[:, None] - place
    covariance = np.exp(-0.5 * (apart / octaves) ** 2)
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors @ (np.sqrt(np.maximum(values, 0.0)) * generator.normal(size=len(place))))


def _misread_microphone(recorded: Recorded, lots: np.random.Generator) -> None:
    path = recorded.raw / MICROPHONE
    lines = path.read_text(encoding="utf-8").splitlines()
    said = [line for line in lines if line.startswith("#")]
    table = np.array([line.split() for line in lines if not line.startswith("#")], dtype=np.float64)
    octaves = float(lots.uniform(0.5, 2.0))
    table[:, 1] += MICROPHONE_DB * smooth_error_db(table[:, 0], octaves, lots)
    rows = [f"{frequency:.3f}\t{level:.4f}" for frequency, level in table]
    path.write_text("\n".join([*said, *rows]) + "\n", encoding="utf-8")


def _points(seed: int, measured: Measured) -> Banded:
    curve = measured.derivation.curves.curves[CurveName.ON_AXIS]
    responses, scenario = measured.responses, measured.recorded.made.scenario
    grid = responses.frequency_hz
    at = np.array([int(np.argmin(np.abs(np.log(grid / frequency)))) for frequency in THIRDS_HZ])
    at = at[curve.valid[at] & np.isfinite(curve.uncertainty_db[at])]
    row = next(i for i, take in enumerate(responses.takes) if take.key.direction == ON_AXIS)
    origin, gates = responses.origin[row, at], grid[at] * responses.gate_s[row]
    region = np.where(gates < TENTH_FROM_GATES, 2, 3)
    region = np.where(origin == Origin.BLENDED, 1, np.where(origin == Origin.NEAR_FIELD, 0, region))
    lot = int(np.random.default_rng([seed, 96]).integers(len(at))) if len(at) else -1
    return Banded(
        seed=seed,
        shape=_shape(measured.recorded.made),
        frequency_hz=grid[at],
        error_db=curve.level_db[at] - truth.level_db(scenario, grid[at])[0],
        uncertainty_db=curve.uncertainty_db[at],
        region=region,
        lot=lot,
    )


def _shape(made: Made) -> str:
    return str(made.facts["unit"]["cabinet"]["shape"])


def _share(each: Floats) -> Share:
    if not each.size:
        return Share(np.nan, np.nan, 0)
    error = float(each.std(ddof=1) / np.sqrt(each.size)) if each.size > 1 else np.nan
    return Share(float(each.mean()), error, int(each.size))
