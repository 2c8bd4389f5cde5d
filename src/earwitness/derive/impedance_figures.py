"""Impedance as figures of merit: its least value, against the rated one, and what it asks of an amplifier."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.formatting import value_text
from earwitness.derive.impedance import BOX_SOURCE, SOURCE
from earwitness.derive.validity import within
from earwitness.derive.wording import band_words, module_number
from earwitness.methods import benjamin_1994
from earwitness.methods.gum import combined
from earwitness.methods.iec_60268_5 import IMPEDANCE_SOURCE, LEAST_PART_OF_RATED
from earwitness.records.facts import Unit
from earwitness.records.figures import Bound, Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import Bools, Floats, derived_grid
from earwitness.records.impedance import Impedance
from earwitness.records.sentences import EMPTY, Sentence, Term, say
from earwitness.records.sources import Source
from earwitness.records.uncertainty import ComponentName

#: Where the least impedance is looked for, Hz.
AUDIBLE_HZ: Final = (20.0, 20_000.0)
#: The outermost points of the grid lie this close to the ends of the band, octaves.
EDGE_OCTAVES: Final = 1.0 / 48.0

NO_BOX: Final = NotAvailable("no sealed or vented box lies near enough to the impedance")
NO_PHASE: Final = NotAvailable("the impedance has no phase")


@dataclass(frozen=True, slots=True)
class Told:
    """What one figure says; `whole` is whether all of the band was valid that was looked through."""

    value: Value
    unit: str
    conditions: Sentence
    source: Source
    components: Mapping[ComponentName, float | None]
    also: Mapping[str, float]
    reading: str = "one curve of impedance"
    whole: bool = True


def impedance_figures(found: Impedance | None, unit: Unit) -> tuple[Figure, ...]:
    """All that there are; none without an impedance."""
    if found is None:
        return ()
    figures = [
        _figure(found, FigureName.IMPEDANCE_MINIMUM, least(found, AUDIBLE_HZ)),
        _figure(found, FigureName.AMPLIFIER_LOAD, _load(found)),
        _figure(found, FigureName.BOX_TUNING, _tuning(found)),
        _figure(found, FigureName.TOTAL_Q, _total_q(found)),
    ]
    if unit.rated_impedance_ohm is not None:
        figures.append(_figure(found, FigureName.IMPEDANCE_RATING, _rating(found, unit)))
    return tuple(figures)


def least(found: Impedance, band_hz: tuple[float, float]) -> Told:
    """The least magnitude in a band, in ohms, where it is, and the phase there.

    A minimum between grid points counts; where the least lies at the end of what is valid, it is a bound.
    """
    grid = derived_grid()
    inside = within(grid, band_hz) & np.isfinite(found.magnitude_ohm)
    nothing = Told(NotAvailable("the impedance isn't valid there"), "Ω", EMPTY, SOURCE, {}, {})
    if not inside.any():
        return nothing
    at = int(np.nanargmin(np.where(inside, found.magnitude_ohm, np.nan)))
    ohms, hertz, phase = float(found.magnitude_ohm[at]), float(grid[at]), float(found.phase_deg[at])
    for one in found.minima:
        if band_hz[0] <= one.frequency_hz <= band_hz[1] and one.ohms <= ohms:
            ohms, hertz = one.ohms, one.frequency_hz
    value: Value = Quantity(ohms)
    edges = np.flatnonzero(inside)
    whole = _reaches(grid, inside, band_hz)
    if at in (edges[0], edges[-1]) and not whole:
        value = Bound(ohms, "at most")
    also = {"frequency": hertz} | ({"phase": phase} if np.isfinite(phase) else {})
    conditions = say(
        "least magnitude from ", band_words("derive.impedance_figures", "AUDIBLE_HZ", AUDIBLE_HZ)
    )
    return Told(value, "Ω", conditions + _drive(found), SOURCE, _components_at(found, at), also, whole=whole)


def _reaches(grid: Floats, inside: Bools, band_hz: tuple[float, float]) -> bool:
    """Whether what is valid holds the whole band, but for what lies between grid points."""
    known = grid[inside]
    low, high = max(band_hz[0], float(grid[0])), min(band_hz[1], float(grid[-1]))
    slack = 2.0**EDGE_OCTAVES
    whole = int(np.count_nonzero(inside)) == int(np.count_nonzero(within(grid, (known[0], known[-1]))))
    return bool(known[0] <= low * slack and known[-1] >= high / slack and whole)


def _components_at(found: Impedance, at: int, part: float = 1.0) -> Mapping[ComponentName, float | None]:
    return {
        name: None if values is None else part * float(values[at])
        for name, values in found.components_ohm.items()
    }


def _drive(found: Impedance) -> Sentence:
    return say(", at ", Term(found.drive)) if found.drive else EMPTY


def rated_band_hz(unit: Unit) -> tuple[float, float]:
    """The maker's rated range; that of hearing where none is stated."""
    return AUDIBLE_HZ if unit.rated_band_hz is None else (min(unit.rated_band_hz), max(unit.rated_band_hz))


def _rating(found: Impedance, unit: Unit) -> Told:
    """The least magnitude in the rated range re the rated impedance, %."""
    rated = unit.rated_impedance_ohm or 1.0
    lowest = least(found, rated_band_hz(unit))
    too_low = isinstance(lowest.value, Quantity) and lowest.value.value < LEAST_PART_OF_RATED * rated
    if not isinstance(lowest.value, Quantity) or not (lowest.whole or too_low):
        value: Value = NotAvailable("the impedance isn't valid throughout the rated range")
        return Told(value, "%", EMPTY, IMPEDANCE_SOURCE, {}, {})
    percent = 100.0 * lowest.value.value / rated
    components = {
        name: None if value is None else 100.0 * value / rated for name, value in lowest.components.items()
    }
    asked = module_number(
        value_text(100.0 * LEAST_PART_OF_RATED, "%", 0),
        LEAST_PART_OF_RATED,
        "iec_60268_5/LEAST_PART_OF_RATED",
    )
    where = "in the rated range" if unit.rated_band_hz is not None else "in the audible range (none is rated)"
    conditions = say(f"least magnitude {where}, of the rated impedance; at least ", asked, " is asked for")
    return Told(
        Quantity(percent),
        "%",
        conditions,
        IMPEDANCE_SOURCE,
        components,
        {"frequency": lowest.also["frequency"]},
    )


def _load(found: Impedance) -> Told:
    """The least resistor that heats an ideal class-B amplifier as much, in ohms."""
    inside = within(derived_grid(), AUDIBLE_HZ) & np.isfinite(found.load_ohm)
    if not inside.any():
        return Told(NO_PHASE, "Ω", EMPTY, benjamin_1994.SOURCE, {}, {})
    at = int(np.nanargmin(np.where(inside, found.load_ohm, np.nan)))
    ohms = float(found.load_ohm[at])
    conditions = say(
        "the resistor whose greatest heat in the transistors of an ideal class-B stage, driven to its supply "
        "voltage, is as great; least from ",
        band_words("derive.impedance_figures", "AUDIBLE_HZ", AUDIBLE_HZ),
    )
    part = ohms / float(found.magnitude_ohm[at])
    components = _components_at(found, at, part)
    also = {"frequency": float(derived_grid()[at])}
    return Told(Quantity(ohms), "Ω", conditions, benjamin_1994.SOURCE, components, also)


def _tuning(found: Impedance) -> Told:
    """Tuning of a vented box, or resonance of a driver in its sealed box, Hz."""
    box = found.box
    name = "resonance_hz" if box is None or box.tuning_hz is None else "tuning_hz"
    if box is None or name not in box.uncertainty:
        return Told(NO_BOX, "Hz", EMPTY, BOX_SOURCE, {}, {})
    value = box.resonance_hz if box.tuning_hz is None else box.tuning_hz
    words = {
        "sealed": "resonance of the driver in a sealed box, fitted to the impedance",
        "vented": "tuning of a vented box, fitted to the impedance",
    }
    components = {ComponentName.FIT: box.uncertainty[name]}
    return Told(Quantity(value), "Hz", say(words[box.kind]), BOX_SOURCE, components, {}, f"{box.kind} box")


def _total_q(found: Impedance) -> Told:
    box = found.box
    if box is None or "q_total" not in box.uncertainty:
        return Told(NO_BOX, "", EMPTY, BOX_SOURCE, {}, {})
    words = {
        "sealed": "of the driver in its sealed box, with what its crossover adds, from an amplifier without "
        "resistance; fitted to the impedance",
        "vented": "of the driver as mounted, without its box's spring, with what its crossover adds, from an "
        "amplifier without resistance; fitted to the impedance",
    }
    components = {ComponentName.FIT: box.uncertainty["q_total"]}
    return Told(
        Quantity(box.q_total), "", say(words[box.kind]), BOX_SOURCE, components, {}, f"{box.kind} box"
    )


def _figure(found: Impedance, name: FigureName, told: Told) -> Figure:
    absent = isinstance(told.value, NotAvailable)
    known = [value for value in told.components.values() if value is not None]
    grid = derived_grid()[np.isfinite(found.magnitude_ohm)]
    return Figure(
        name=name,
        value=told.value,
        unit=told.unit,
        uncertainty=None if absent or not known else float(combined(known)),
        components={} if absent else told.components,
        conditions=told.conditions,
        reading=told.reading,
        valid_band_hz=None if absent or not grid.size else (float(grid[0]), float(grid[-1])),
        method="derive.impedance_figures.impedance_figures",
        source=told.source,
        evidence=Evidence((), found.takes),
        also={} if absent else told.also,
    )
