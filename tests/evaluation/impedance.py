"""Impedances of a seeded population: how far off, and what is found of resonances that are there.

The generator's loudspeakers with ladders of parts in place of their ideal filters: a Butterworth low pass of
the second order before the woofer, a pad and a high pass before the tweeter, each for the driver's own
resistance. What is true is the loudspeaker's own impedance on a fine grid, the tuning that its port was made
for or the resonance that follows from mass and springs, and what a resonance changes when it is silenced.

``PYTHONPATH=tests python -m evaluation.impedance FIRST COUNT`` prints each case and the table. Seeds below
50000 were looked at while this was written; those from 50000 on were not.
"""

from __future__ import annotations

import math
import sys
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import numpy as np
import soundfile

from earwitness.derive.impedance import derive_impedance
from earwitness.derive.impedance_figures import impedance_figures
from earwitness.findings.impedance_statements import keeps_rating
from earwitness.measurement.electrical import measured_impedance
from earwitness.records.facts import StatedUncertainty, Unit
from earwitness.records.figures import FigureName, Quantity
from earwitness.records.impedance import Impedance
from earwitness.records.takes import Drive, ReadOption, Take, TakeKey, TakeKind
from earwitness.virtual.electrical import Circuit, Meter
from earwitness.virtual.generator import generate
from earwitness.virtual.scenario import Scenario, from_text
from earwitness.virtual.toml_text import toml_text

FINE: Final = np.geomspace(20.0, 20_000.0, 60_001)
#: The scale's stated uncertainty, %; it is exact here.
STATED_PERCENT: Final = 0.2
#: Least impedance re the rated one by which a rating is kept, and how far from it cases are drawn.
LEAST_PART: Final = 0.8
AWAY: Final = (0.01, 0.15)
#: A resonance is there where it changes the impedance by so much, and none where by less than that.
THERE, NOT_THERE = 0.01, 0.002
#: Narrow ones have such a Q, and lie above this, Hz: below, silencing a port changes its tuning.
QS: Final = (8.0, 80.0)
FROM_HZ: Final = 120.0
#: A resonance that is found lies so near one that is there.
NEAR: Final = 0.05
#: What a wire has for a coil, ohms.
COIL_OHM: Final = 0.2
READ: Final[tuple[tuple[str, ReadOption], ...]] = (
    ("current", 2),
    ("current_full_scale_v", 0.25),
    ("sense_ohm", 0.5),
    ("voltage", 1),
    ("voltage_full_scale_v", 2.0),
)


@dataclass(frozen=True)
class Told:
    """One case.

    `minimum` and `tuning` are relative errors, the latter None where no box was told; `vented` is true of it.
    `kept` is what is true of the rating, `verdict` what is said. `there` are true resonances, as frequency
    and height re the impedance; `found` those told; `unclear` ones count neither way: between both heights,
    or not as narrow as what is looked for.
    """

    seed: int
    minimum: float
    vented: bool
    tuning: float | None
    tuning_inside: bool
    kept: bool
    verdict: bool
    there: tuple[tuple[float, float], ...]
    unclear: tuple[tuple[float, float], ...]
    found: tuple[tuple[float, float], ...]

    @property
    def hits(self) -> list[float]:
        """Relative errors of the frequencies of those that are there and were found."""
        errors = []
        for hertz, _ in self.there:
            near = [f / hertz - 1.0 for f, _ in self.found if abs(f / hertz - 1.0) < NEAR]
            errors += [min(near, key=abs)] if near else []
        return errors

    @property
    def false(self) -> int:
        """How many were found where none is, nor an unclear one."""
        places = [hertz for hertz, _ in (*self.there, *self.unclear)]
        return sum(all(abs(f / hertz - 1.0) >= NEAR for hertz in places) for f, _ in self.found)


def scenario_of(seed: int) -> Scenario:
    """The generator's loudspeaker with ladders; faults of filters, which passive ones differ in, left out."""
    drawn = generate(seed)
    document: dict[str, Any] = tomllib.loads(drawn.loudspeaker)
    units = {unit["name"]: unit for box in document["enclosures"] for unit in box["drive_units"]}
    for branch in document["branches"]:
        corner = 2.0 * math.pi * branch["sections"][0]["corner_hz"]
        ohms = units[branch["name"]]["coil"]["resistance_ohm"]
        coil, capacitor = math.sqrt(2.0) * ohms / corner, 1.0 / (math.sqrt(2.0) * ohms * corner)
        low = [
            {"placed": "series", "resistance_ohm": COIL_OHM, "inductance_h": coil},
            {"placed": "across", "resistance_ohm": 0.1, "capacitance_f": capacitor},
        ]
        high = [
            {"placed": "series", "resistance_ohm": 3.0},
            {"placed": "series", "capacitance_f": capacitor},
            {"placed": "across", "resistance_ohm": COIL_OHM, "inductance_h": coil},
        ]
        is_low = branch["name"] == "woofer"
        branch.clear()
        name = "woofer" if is_low else "tweeter"
        branch |= {"name": name, "drivers": [name], "ladder": low if is_low else high}
    document["faults"] = [fault for fault in document.get("faults", []) if "silences" in fault]
    return from_text("drawn", toml_text(document), drawn.rig)


def case(seed: int) -> Told:
    """One drawn, recorded, and told."""
    scenario = scenario_of(seed)
    lots = np.random.default_rng([seed, 77])
    ohms = np.asarray(scenario.loudspeaker.impedance(FINE, scenario.air))
    away = math.exp(lots.uniform(*np.log(AWAY))) * float(lots.choice([-1.0, 1.0]))
    truth = float(np.abs(ohms).min())
    rated = truth / (LEAST_PART * (1.0 + away))
    noise_v = math.exp(lots.uniform(math.log(5e-6), math.log(1e-4)))
    found = _recorded(scenario, Meter(0.5, 2.0, 0.25, 0.5, noise_v=noise_v))
    figures = {f.name: f for f in impedance_figures(found, Unit("Drawn", rated_impedance_ohm=rated))}
    least, rating = figures[FigureName.IMPEDANCE_MINIMUM], figures[FigureName.IMPEDANCE_RATING]
    assert isinstance(least.value, Quantity)
    assert isinstance(rating.value, Quantity)
    there, unclear = _true_resonances(scenario, ohms)
    vented, hertz = _true_box(scenario)
    tuning, inside = None, True
    if found.box is not None:
        told = found.box.tuning_hz if vented else found.box.resonance_hz
        if told is not None and (found.box.kind == "vented") is vented:
            name = "tuning_hz" if vented else "resonance_hz"
            tuning = told / hertz - 1.0
            inside = abs(told - hertz) <= 2.0 * found.box.uncertainty.get(name, math.inf)
    return Told(
        seed=seed,
        minimum=least.value.value / truth - 1.0,
        vented=vented,
        tuning=tuning,
        tuning_inside=inside,
        kept=away >= 0.0,
        verdict=keeps_rating(rating.value.value, rating.uncertainty),
        there=there,
        unclear=unclear,
        found=tuple((one.frequency_hz, one.height) for one in found.wrinkles),
    )


def _true_resonances(
    scenario: Scenario, ohms: np.ndarray
) -> tuple[tuple[tuple[float, float], ...], tuple[tuple[float, float], ...]]:
    """What each fault changes when it is silenced: those that are there, and those that are unclear."""
    there: list[tuple[float, float]] = []
    unclear: list[tuple[float, float]] = []
    for fault in scenario.faults:
        without = scenario.loudspeaker.without(*fault.silences).impedance(FINE, scenario.air)
        change = np.where(FINE >= FROM_HZ, np.abs(ohms - without) / np.abs(ohms), 0.0)
        at = int(np.argmax(change))
        one = float(FINE[at]), float(change[at])
        if change[at] >= NOT_THERE:
            wide = change < change[at] / math.sqrt(2.0)
            low = int(np.flatnonzero(wide[:at])[-1]) if wide[:at].any() else 0
            high = at + int(np.argmax(wide[at:])) if wide[at:].any() else FINE.size - 1
            narrow = QS[0] <= float(FINE[at] / (FINE[high] - FINE[low])) <= QS[1]
            (there if change[at] >= THERE and narrow else unclear).append(one)
    return tuple(there), tuple(unclear)


def _true_box(scenario: Scenario) -> tuple[bool, float]:
    """Whether it is vented, and its tuning, or the resonance of mass and both springs."""
    body = scenario.loudspeaker.source.enclosures[0]
    content = scenario.document.content["enclosures"][0]
    if body.ports:
        return True, float(content["ports"][0]["tuning_hz"])
    unit, air = content["drive_units"][0], scenario.air
    area = math.pi * unit["diameter_m"] ** 2 / 4.0
    spring = unit["stiffness"] + air.density * air.speed**2 * area**2 / content["volume_m3"]
    return False, math.sqrt(spring / unit["mass_kg"]) / (2.0 * math.pi)


def _recorded(scenario: Scenario, meter: Meter) -> Impedance:
    """Through files, as a case has it."""
    session = scenario.session
    circuit = Circuit(meter, session.workshop.chain, session.tail_s, session.seed)
    key = TakeKey(TakeKind.IMPEDANCE, drive=Drive(meter.drive_v))
    take = Take("impedance.wav", key, stimulus="stimulus.wav", read=READ)
    played = Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))
    with TemporaryDirectory() as temporary:
        folder, sweep = Path(temporary), session.sweep
        soundfile.write(folder / "stimulus.wav", sweep.samples(), sweep.sample_rate_hz, subtype="PCM_24")
        heard = circuit.loudspeaker(scenario.loudspeaker, scenario.air, sweep, "impedance.wav")
        circuit.write(folder / "impedance.wav", heard)
        measured = measured_impedance(folder, [take], {"stimulus.wav": played})
    assert measured is not None
    return derive_impedance(measured, StatedUncertainty(impedance_percent=STATED_PERCENT))


def table(every: Iterable[Told]) -> str:
    """What docs/accuracy.md has."""
    cases = list(every)
    least = np.abs([one.minimum for one in cases])
    lines = [
        f"{len(cases)} cases",
        f"minimum: largest error {100.0 * least.max():.2f} %, within 0.5 % {np.mean(least < 0.005):.3f}",
    ]
    for vented, name in ((False, "sealed"), (True, "vented")):
        mine = [one for one in cases if one.vented is vented]
        errors = np.abs([one.tuning for one in mine if one.tuning is not None])
        inside = sum(one.tuning_inside for one in mine if one.tuning is not None)
        largest = 100.0 * float(errors.max(initial=0.0))
        within = int(np.count_nonzero(errors <= 0.02))
        lines.append(
            f"{name}: {len(mine)}, told {errors.size}, within 2 % {within}, largest {largest:.2f} %, "
            f"inside two uncertainties {inside}"
        )
    right = sum(one.kept == one.verdict for one in cases)
    lines.append(
        f"rating right {right} of {len(cases)}; wrong {[o.seed for o in cases if o.kept != o.verdict]}"
    )
    hits = [error for one in cases for error in one.hits]
    count = sum(len(one.there) for one in cases)
    worst = 100.0 * max((abs(error) for error in hits), default=0.0)
    false = sum(one.false for one in cases)
    lines.append(f"resonances: {count} there, {len(hits)} found (largest error {worst:.2f} %), {false} false")
    return "\n".join(lines)


if __name__ == "__main__":
    first, number = int(sys.argv[1]), int(sys.argv[2])
    judged = []
    for seed in range(first, first + number):
        judged.append(case(seed))
        print(judged[-1], flush=True)
    print(table(judged))
