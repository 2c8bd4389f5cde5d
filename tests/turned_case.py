"""A case of text files whose loudspeaker radiates otherwise to one side than to the other."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.pipeline.intake import accept, look_at
from earwitness.records.takes import Direction, Orbit

#: The half-angle at which each side of an orbit has fallen by 6 dB, by the sign of the file's angle.
EDGES_DEG = {
    (Orbit.HORIZONTAL, True): 60.0,
    (Orbit.HORIZONTAL, False): 40.0,
    (Orbit.VERTICAL, True): 50.0,
    (Orbit.VERTICAL, False): 30.0,
}
#: Rows a sixth of an octave apart from 20 Hz to 20 kHz.
ROWS_HZ = [20.0 * 2.0 ** (k / 6.0) for k in range(60)] + [20_000.0]


def level_db(direction: Direction) -> float:
    """80 dB on axis, and 6 dB less at the edge: a parabola down to −30 dB."""
    edge = EDGES_DEG[direction.orbit, direction.angle_deg > 0.0]
    return 80.0 - min(6.0 * (direction.angle_deg / edge) ** 2, 30.0)


def orbits(step: int = 10) -> list[Direction]:
    """Both orbits in full."""
    return [Direction(o, float(a)) for o in Orbit for a in range(-180 + step, 181, step)]


def turned_case(root: Path, directions: Iterable[Direction], unit: str = "", rig: str = "") -> CaseFolder:
    """A case of such files, with more lines for ``[unit]`` and ``[rig]``; not built."""
    files = root / "files"
    files.mkdir(parents=True)
    for one in directions:
        rows = "".join(f"{hz:.4f} {level_db(one):.4f}\n" for hz in ROWS_HZ)
        (files / f"{one.orbit}_{one.angle_deg:+04.0f}_2.83V.txt").write_text(rows, encoding="utf-8")
    facts = f'[unit]\nname = "Lopsided One"\n{unit}\n[rig]\ndistance_m = 1.0\n{rig}\n'
    case = new_case(root / "case", "Lopsided One", {"case.toml": facts})
    accept(case.root, look_at(case.root, [files]))
    return case
