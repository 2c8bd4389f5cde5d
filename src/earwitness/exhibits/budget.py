"""The budget of uncertainty on axis: what makes the pale bands, part by part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.time_axes import linear_axis
from earwitness.exhibits.wording import READ_OUT_HZ, axis_span, joined, valid_from
from earwitness.methods.gum import combined
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.grid import Floats
from earwitness.records.sentences import EMPTY, Sentence, Term, say
from earwitness.records.uncertainty import ComponentName

NAME: Final = CurveName.ON_AXIS
HEIGHT: Final = 0.4
#: Uncertainties are shown as root mean squares over bands this part of an octave wide.
FRACTION: Final = 3
#: So many parts have a line of their own, the largest first; the others share one.
ROLES: Final = (Role.LISTENING_WINDOW, Role.EARLY_REFLECTIONS, Role.SOUND_POWER, Role.TREND)
#: What never makes more than this share of the largest total goes without a line of its own.
LEAST_SHARE: Final = 0.05
#: Shorter names at line ends, for narrow screens.
SHORT: Final[Mapping[str, str]] = {
    ComponentName.MICROPHONE: "mic.",
    ComponentName.TEMPERATURE: "temp.",
    ComponentName.INTERPOLATION: "interp.",
    ComponentName.SEPARATION: "separ.",
    ComponentName.AIR: "air",
}
#: The axis ends no lower, dB, and has so much room above the largest total.
LEAST_DB: Final = 0.1
HEADROOM: Final = 1.1


def budget(curves: CurveSet) -> Exhibit | None:
    """Each component's standard uncertainty on axis, and the total; None where nothing is known of it."""
    curve = curves.curves[NAME]
    if not (curve.valid & np.isfinite(curve.uncertainty_db)).any():
        return None
    centres_hz = _centres(curves.frequency_hz)
    total = _banded(curves.frequency_hz, curve.uncertainty_db, centres_hz)
    if not np.isfinite(total).any():
        return None
    lines = (
        Line("on_axis_uncertainty", "total", Role.ON_AXIS, centres_hz, total),
        *_parts(curves.frequency_hz, curve, centres_hz),
    )
    highest = max(HEADROOM * float(np.nanmax([np.nanmax(line.y) for line in lines])), LEAST_DB)
    axis = linear_axis("standard uncertainty", "dB", 0.0, highest, 6)
    return Exhibit(
        id="budget",
        letter="",
        title="What makes the uncertainty on axis",
        caption=say(
            "Each part on its own, and their total: the square root of the sum of their squares, and more "
            "where it rests on few repeats.",
            _not_stated(curve),
        ),
        conditions=say(
            "one standard uncertainty, root mean square over ",
            Term("1/3 octave"),
            " · on axis · ",
            valid_from(curves, NAME),
        ),
        alt=say(
            "Standard uncertainty over frequency, ",
            axis_span(),
            ". ",
            _read_out(curves),
            ".",
            _not_stated(curve),
        ),
        panels=(Panel("parts", frequency_axis(), replace(axis, decimals=3), lines, height_per_width=HEIGHT),),
    )


def _centres(frequency_hz: Floats) -> Floats:
    """Middles of bands of `FRACTION`, counted from 1 kHz."""
    low, high = (float(np.log2(edge / 1000.0)) * FRACTION for edge in frequency_hz[[0, -1]])
    return np.asarray(1000.0 * 2.0 ** (np.arange(np.ceil(low), np.floor(high) + 1) / FRACTION))


def _banded(frequency_hz: Floats, values: Floats, centres_hz: Floats) -> Floats:
    """Root mean square in each band, NaN where less than half of it is known."""
    band = np.round(FRACTION * np.log2(frequency_hz / centres_hz[0])).astype(int)
    inside = (band >= 0) & (band < len(centres_hz))
    known = inside & np.isfinite(values)
    every, told = (np.bincount(band[chosen], minlength=len(centres_hz)) for chosen in (inside, known))
    squares = np.bincount(band[known], values[known] ** 2, minlength=len(centres_hz))
    return np.where(2 * told >= every, np.sqrt(squares / np.maximum(told, 1)), np.nan)


def _parts(frequency_hz: Floats, curve: Curve, centres_hz: Floats) -> tuple[Line, ...]:
    """A line for each of the largest parts, and one for all others together."""
    banded = {name: _banded(frequency_hz, values, centres_hz) for name, values in _known(curve).items()}
    own = _own(curve)
    lines = [
        Line(f"on_axis_{name}", name, role, centres_hz, banded[name], short=SHORT.get(name, ""))
        for name, role in zip(own, ROLES, strict=False)
    ]
    rest = [values for name, values in banded.items() if name not in own]
    if rest:
        lines.append(
            Line("on_axis_rest", "all others", Role.QUIET, centres_hz, combined(rest), short="others")
        )
    return tuple(lines)


def _known(curve: Curve) -> Mapping[str, Floats]:
    """The components that are known, the largest first."""
    known = {str(name): part for name, part in curve.components_db.items() if part is not None}
    return dict(sorted(known.items(), key=lambda item: -float(np.nanmax(item[1]))))


def _own(curve: Curve) -> list[str]:
    """The components that have a line of their own, the largest first."""
    least = LEAST_SHARE * float(np.nanmax(curve.uncertainty_db))
    return [name for name, part in _known(curve).items() if np.nanmax(part) > least][: len(ROLES)]


def _not_stated(curve: Curve) -> Sentence:
    absent = [say(str(name)) for name, part in curve.components_db.items() if part is None]
    return say(" Neither stated nor found in the data: ", joined(absent, ", "), ".") if absent else EMPTY


def _read_out(curves: CurveSet) -> Sentence:
    """The total, and each part that has a line of its own, at three frequencies."""
    curve = curves.curves[NAME]
    told = [_levels(curves, "total", curve.uncertainty_db, "uncertainty")]
    told += [_levels(curves, name, _known(curve)[name], f"components/{name}") for name in _own(curve)]
    return joined([one for one in told if one is not None], "; ")


def _levels(curves: CurveSet, words: str, values: Floats, path: str) -> Sentence | None:
    told = []
    for i, hertz in enumerate(READ_OUT_HZ):
        nearest = int(np.argmin(np.abs(np.log(curves.frequency_hz / hertz))))
        value = float(values[nearest])
        if np.isfinite(value):
            number = quantity(value, "dB", f"curve:{NAME}/{path}/at/{hertz:g}", 2)
            at = frequency(hertz, f"method:exhibits.wording/READ_OUT_HZ/{i}")
            told.append(say(number, " at ", at))
    return say(f"{words}: ", joined(told, ", ")) if told else None
