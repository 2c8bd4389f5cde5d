"""The frequencies of a file: their unit, their order, and which rows are left aside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.contents import SAMPLE_RATES_HZ
from earwitness.measurement.readers.text_headings import Heading
from earwitness.measurement.readers.text_units import FREQUENCY_UNITS
from earwitness.records.errors import ReadError

Float64s = npt.NDArray[np.float64]

#: Half of the highest sample rate that is read: no response goes beyond.
HIGHEST_TOP_HZ: Final = SAMPLE_RATES_HZ[1] / 2.0
#: A response of any loudspeaker, even a subwoofer's, goes beyond this,
LOWEST_TOP_HZ: Final = 40.0
#: and begins below this.
HIGHEST_BOTTOM_HZ: Final = 20_000.0


@dataclass(frozen=True)
class FrequencyAxis:
    """`hz` rises; `rows` are the table's rows in that order, those at 0 Hz left aside."""

    hz: Float64s
    rows: npt.NDArray[np.int64]
    unit: str
    remarks: tuple[str, ...]


def frequency_axis(
    values: Float64s, at: npt.NDArray[np.int64], heading: Heading, name: str, stated: str | None
) -> FrequencyAxis:
    """Rising frequencies in hertz from a column of shape (n,).

    Unit. The heading or the case says it. Where neither does, it is hertz only if kilohertz can't be: the
    numbers go beyond 384, or begin at 20 or above, and no response reaches beyond 384 kHz or begins at
    20 kHz. Nothing proves kilohertz: 0.02 to 20 may be either for a program that writes what it is told,
    so the case has to say it. A unit that makes the response end below 40 Hz, beyond 384 kHz or
    begin at 20 kHz is refused, whoever says it.

    Order. Rising or falling; falling rows are turned. A repeated frequency is refused. Rows at 0 Hz, which
    grids of transforms have, are left aside.

    Raises
    ------
    ReadError
        With the line where there is one.
    """
    negative = values < 0.0
    if negative.any():
        k = int(np.argmax(negative))
        raise ReadError(name, f"{values[k]:g} is no frequency", "leave that row out", f"line {at[k]}")
    rows = np.flatnonzero(values)
    if rows.size < 2:
        raise ReadError(
            name,
            f"has {rows.size} row{'s' * (rows.size != 1)} of numbers above 0 Hz",
            "export at least two frequencies",
        )
    remarks = ["0 Hz left aside"] if rows.size < values.size else []
    falls = bool(values[rows[-1]] < values[rows[0]])
    _require_order(values[rows], at[rows], name, falls=falls)
    if falls:
        rows = rows[::-1]
        remarks.append("rows turned")
    unit = _unit(values[rows], heading, name, stated)
    return FrequencyAxis(values[rows] * FREQUENCY_UNITS[unit], rows, unit, tuple(remarks))


def _require_order(values: Float64s, at: npt.NDArray[np.int64], name: str, *, falls: bool) -> None:
    steps = np.diff(values)
    wrong = steps >= 0.0 if falls else steps <= 0.0
    if not wrong.any():
        return
    k = int(np.argmax(wrong))
    where = f"line {at[k + 1]}"
    if steps[k] == 0.0:
        problem = f"the frequency {values[k]:g} stands there twice"
        raise ReadError(name, problem, "export each frequency once", where)
    problem = f"the frequency {values[k + 1]:g} follows {values[k]:g}"
    raise ReadError(name, problem, "export the rows in rising order of frequency", where)


def _unit(values: Float64s, heading: Heading, name: str, stated: str | None) -> str:
    possible = [unit for unit, hz in FREQUENCY_UNITS.items() if can_be_hz(values * hz)]
    span = f"frequencies from {values[0]:g} to {values[-1]:g}"
    headed = next((u for u, hz in FREQUENCY_UNITS.items() if hz == heading.frequency), None)
    said = stated or headed
    if said is not None and said not in possible:
        whose = "read.frequency" if stated else f"the heading {heading.text!r}"
        other = next(iter(possible), "")
        remedy = (
            f'state read = {{ frequency = "{other}" }} if that is their unit' if other else "export it again"
        )
        raise ReadError(name, f"its {span} can't be in {said}, as {whose} says", remedy)
    if stated is not None and headed in possible and stated != headed:
        problem = f"its frequencies are headed {heading.text!r}, where read.frequency says {stated}"
        raise ReadError(name, problem, "correct read.frequency in takes.toml")
    if said is not None:
        return said
    if possible == ["Hz"]:
        return "Hz"
    if not possible:
        raise ReadError(name, f"its {span} are no loudspeaker's, in Hz or kHz", "export it again")
    problem = f"its {span} may be in Hz or kHz"
    raise ReadError(name, problem, 'state which, as in read = { frequency = "kHz" }')


def can_be_hz(hz: Float64s) -> bool:
    """Whether rising frequencies in hertz may be those of a loudspeaker's response."""
    return bool(LOWEST_TOP_HZ <= hz[-1] <= HIGHEST_TOP_HZ and hz[0] < HIGHEST_BOTTOM_HZ)
