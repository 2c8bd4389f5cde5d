"""Pictures of the virtual workshop for the docs: ``PYTHONPATH=tests python -m workshop_pictures``.

One shows a two-way box from 0° to 180°, computed from its parts, beside a two-way on a rigid ball by the
exact series; one each scenario's curves on axis and of sound power, with and without what is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes

from earwitness.virtual.scenario import load, names
from earwitness.virtual.standard_curves import power_curves
from earwitness.virtual.truth import DRIVE_V, REFERENCE_PA, directions
from earwitness.virtual.truth_file import FREQUENCIES, listening

DOCS = Path(__file__).parents[1] / "docs"
LOWEST_DB = 40.0
ANGLES = np.arange(0.0, 181.0, 30.0)
TICKS = {20: "20", 100: "100", 1000: "1k", 10_000: "10k"}


def frame(axes: Axes, low: float, high: float) -> None:
    """A logarithmic axis of frequency and one of level."""
    axes.set_xscale("log")
    axes.set_xlim(20.0, 20_000.0)
    axes.set_ylim(low, high)
    axes.set_xticks(list(TICKS), list(TICKS.values()))
    axes.minorticks_off()
    axes.grid(color="#dddddd", linewidth=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def turned(path: Path, shown: Sequence[tuple[str, str]]) -> None:
    """Levels at 1 m for 2.83 V as loudspeakers turn, one beside the other."""
    figure, panels = plt.subplots(1, len(shown), figsize=(11.0, 4.6), sharey=True, layout="constrained")
    frequencies = np.geomspace(20.0, 20_000.0, 400)
    for axes, (name, title) in zip(panels, shown, strict=True):
        points = directions("horizontal", ANGLES)
        pressure = load(name).pressure(points, frequencies, DRIVE_V, 2.0)
        levels = 20.0 * np.log10(2.0 * np.abs(pressure) / REFERENCE_PA)
        frame(axes, LOWEST_DB, 95.0)
        for number, (angle, level) in enumerate(zip(ANGLES, levels, strict=True)):
            shade = plt.get_cmap("cividis")(0.85 * number / len(ANGLES))
            axes.plot(frequencies, level, color=shade, linewidth=1.4)
            if level[-1] > LOWEST_DB:
                place = (20_300.0, level[-1])
                axes.annotate(f"{angle:g}°", place, color=shade, annotation_clip=False, fontsize=8)
        axes.set_title(title, loc="left", fontsize=11)
        axes.set_xlabel("Frequency, Hz")
    panels[0].set_ylabel("dB re 20 µPa at 1 m, 2.83 V")
    figure.savefig(path, dpi=110)


def sheet(path: Path) -> None:
    """All scenarios: on axis and sound power, drawn over what they would be without their faults."""
    figure, panels = plt.subplots(5, 4, figsize=(14.0, 13.0), layout="constrained")
    for axes in panels.flat:
        axes.set_axis_off()
    for axes, name in zip(panels.flat, names(), strict=False):
        axes.set_axis_on()
        scenario = load(name)
        heard = listening(scenario)
        scale = DRIVE_V * scenario.turntable.distance_m / REFERENCE_PA
        frame(axes, 50.0, 95.0)
        for faults, colour in ((scenario.faults, "#bbbbbb"), ((), "#1f3a5f")):
            curves = power_curves(scale * heard.pressure(faults))
            for curve, style in (("on_axis", "-"), ("sound_power", "--")):
                axes.plot(FREQUENCIES, 10.0 * np.log10(curves[curve]), style, color=colour, linewidth=1.3)
        wrong = ", ".join(fault.name.replace("_", " ") for fault in scenario.faults) or "nothing wrong"
        axes.set_title(f"{name}: {wrong}", loc="left", fontsize=8)
    figure.savefig(path, dpi=100)


if __name__ == "__main__":
    box = ("thimble", "Thimble, a two-way box, by its parts")
    ball = ("cobble_two", "Cobble Two, caps on a ball, exact")
    turned(DOCS / "turned.png", [box, ball])
    sheet(DOCS / "shelf.png")
