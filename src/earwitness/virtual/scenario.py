"""A scenario: a loudspeaker from ``scenarios/NAME.toml``, in the air and the rig of ``rigs/NAME.toml``."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from earwitness.virtual import further
from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.assembly import loudspeaker
from earwitness.virtual.box import BoxCabinet
from earwitness.virtual.electrical import Meter
from earwitness.virtual.electronics import Clipping, Electronics, Limiter
from earwitness.virtual.faults import Fault, read, replaced
from earwitness.virtual.further import Further, Rest, Run
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.radiator import SphericalCabinet
from earwitness.virtual.recording import Session
from earwitness.virtual.rig import Levels, Rig, rig
from earwitness.virtual.stated_rig import restated, stated
from earwitness.virtual.tables import Part, ScenarioError, Table
from earwitness.virtual.turntable import Turntable

FOLDER: Final = Path(__file__).parent / "scenarios"
RIGS: Final = Path(__file__).parent / "rigs"


#: Tables of what isn't linear besides drivers and ports.
LARGE: Final = ("limiter", "clipping", "levels")


@dataclass(frozen=True, slots=True)
class Scenario:
    """Everything that stands in the workshop on one day, the document it came from, and what is wrong.

    `full_scale_v` is None but for an active loudspeaker: volts RMS at its amplifiers' inputs of a sine that
    fills digital full scale. Its drives are said in dBFS, and its "terminals" are those inputs. `other_rig`
    is what a reviewer states of the rig in use, where that isn't the scenario's own. `further` is recorded
    besides the session.
    """

    name: str
    loudspeaker: Loudspeaker
    air: Air
    turntable: Turntable
    session: Session
    further: Further
    document: Table
    faults: tuple[Fault, ...] = ()
    full_scale_v: float | None = None
    other_rig: Mapping[tuple[str, str], str] | None = None

    def pressure(
        self, directions: Floats, frequencies: Floats, drive: float = 2.83, distance: float | Floats = 1.0
    ) -> Complexes:
        """Free-field sound pressure.

        Parameters
        ----------
        directions
            Unit vectors (D, 3) from the reference point: x forward, y to the loudspeaker's left, z up.
        frequencies
            Shape (F,), above 0 Hz.
        drive
            Volts RMS at the terminals.
        distance
            Metres from the reference point, one for all or shape (D,).

        Returns
        -------
        Shape (D, F), Pa RMS, e^(+jωt), time of flight included.

        Raises
        ------
        ValueError
            Where a point lies inside the cabinet or on it.
        """
        points = np.asarray(directions) * np.reshape(np.asarray(distance, dtype=np.float64), (-1, 1))
        return self.loudspeaker.pressure(points, np.asarray(frequencies, dtype=np.float64), drive, self.air)

    def record(
        self,
        folder: Path,
        progress: Callable[[int, int], None] | None = None,
        only: Collection[str] | None = None,
        sweep_s: float | None = None,
    ) -> list[Path]:
        """Write the raw files of a session.

        Parameters
        ----------
        folder
            Where to; made if it isn't there.
        progress
            Called with the number of files written so far and in all.
        only
            Names of the files wanted (`names` lists them all); None for every one.
        sweep_s
            About how long the sweep shall last, if not as long as the scenario says: short ones are quick to
            make, and have more noise.

        Returns
        -------
        The paths written, in the order of `names`. The same call writes the same bytes.
        """
        wanted = self.names if only is None else tuple(name for name in self.names if name in only)
        if only is not None and (strange := set(only) - set(wanted)):
            raise ValueError(f"the scenario has no file called {sorted(strange)[0]!r}; see names")

        def told(done: int, _: int) -> None:
            if progress is not None:
                progress(done, len(wanted))

        first = [name for name in wanted if name in self.session.names]
        written = self.session.record(folder, told, first, sweep_s)
        for path in self.further.record(folder, wanted, sweep_s):
            written.append(path)
            told(len(written), len(wanted))
        return written

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all raw files."""
        return (*self.session.names, *self.further.names)

    @property
    def read(self) -> Mapping[str, tuple[tuple[str, float | int | bool], ...]]:
        """What the reviewer states of a file's form in ``takes.toml``, by its name, where that is needed."""
        return self.further.read

    @property
    def facts_folder(self) -> Path:
        """Where `facts` and `verdict` lie, named as a case names them."""
        return FOLDER / self.name

    @property
    def facts(self) -> Path:
        """``case.toml`` as the reviewer would have written it in the scenario's own rig.

        Raises
        ------
        ScenarioError
            It stands in another rig, of which only `facts_text` tells.
        """
        if self.other_rig is not None:
            problem = "states the scenario's own rig, and this is another; take facts_text"
            raise ScenarioError(f"{self.name}/case.toml: {problem}")
        return self.facts_folder / "case.toml"

    @property
    def facts_text(self) -> str:
        """``case.toml`` as the reviewer would have written it in the rig in use."""
        text = (self.facts_folder / "case.toml").read_text(encoding="utf-8")
        return text if self.other_rig is None else restated(text, self.other_rig)

    @property
    def unit_name(self) -> str:
        """What `facts` call the loudspeaker."""
        return str(tomllib.loads(self.facts_text)["unit"]["name"])

    @property
    def verdict(self) -> Path:
        """``verdict.md`` as the reviewer would have written it."""
        return self.facts_folder / "verdict.md"


def load(name: str, rig_name: str | None = None) -> Scenario:
    """The scenario called `name`, in its own rig or in another.

    Raises
    ------
    ScenarioError
        Where there is no such scenario or rig, or its file is wrong; one line.
    """
    rig_text = None if rig_name is None else _text(RIGS, "rig", rig_name)
    return from_text(name, _text(FOLDER, "scenario", name), rig_text, rig_name or "")


def from_text(name: str, text: str, rig_text: str | None = None, rig_name: str = "another rig") -> Scenario:
    """A scenario from the text of a TOML file, in the rig that it names or in that of another text.

    `name` is what messages and `facts` call it, `rig_name` what they call that other rig.
    """
    document = _document(name, text)
    document.only(
        "rig",
        "near_fields",
        "full_scale_v",
        "cabinet",
        "enclosures",
        "branches",
        "faults",
        *LARGE,
        *further.TABLES,
    )
    own = document.take(str, "rig")
    workshop = rig(_document(f"{name}, rig" if rig_text else own, rig_text or _text(RIGS, "rig", own)))
    near_fields = document.take(tuple[str, ...], "near_fields", ())
    full_scale = document.take(float, "full_scale_v", None)
    parts = loudspeaker(document)
    faults = read(document)
    _require_what_is_named(document, parts, near_fields, faults)
    _require_a_place(document, parts, workshop)
    electronics, levels = _large(document)
    session = workshop.session(parts, near_fields, full_scale, electronics, levels)
    _require_a_drive_once(document, session, workshop)
    other = None if rig_text is None or rig_name == own else stated(workshop, rig_name)
    besides = document.made(
        Further,
        session,
        *(_perhaps(document, name, kind) for name, kind in zip(further.TABLES, _FURTHER, strict=True)),
        full_scale,
    )
    return Scenario(
        name, parts, workshop.air, workshop.turntable, session, besides, document, faults, full_scale, other
    )


_FURTHER: Final = (Meter, Run, Rest)


def _perhaps(document: Table, name: str, kind: type[Part]) -> Part | None:
    """A table as what it holds; None where there is none."""
    return document.table(name).build(kind) if name in document.content else None


def _large(document: Table) -> tuple[Electronics, Levels | None]:
    """What isn't linear in the amplifier, and at which drives it is recorded."""
    limiter, clipping, levels = LARGE
    electronics = Electronics(_perhaps(document, limiter, Limiter), _perhaps(document, clipping, Clipping))
    return electronics, _perhaps(document, levels, Levels)


def _require_a_drive_once(document: Table, session: Session, workshop: Rig) -> None:
    """Refuse a take that is there twice."""
    if len(set(session.names)) < len(session.names):
        raise document.error(
            f"levels: {workshop.habits.drive_v:g} V is the drive of the turns already; leave it out"
        )


def _require_what_is_named(
    document: Table, parts: Loudspeaker, near_fields: Sequence[str], faults: Sequence[Fault]
) -> None:
    """Refuse radiators, parts and places in the document that aren't there."""
    there = parts.source.radiators
    named = [("near_fields", name) for name in near_fields]
    named += [(f"faults {fault.name}", name) for fault in faults for name in (*fault.edges, *fault.together)]
    for where, name in named:
        if name not in there:
            raise document.error(f"{where}: no radiator is called {name}; there are: {', '.join(there)}")
    for fault in faults:
        if fault.edges and not isinstance(parts.cabinet, BoxCabinet):
            raise document.error(f"faults {fault.name}: only a box has edges")
        document.made(loudspeaker(replaced(document, fault.instead)).without, *fault.silences)


def _require_a_place(document: Table, parts: Loudspeaker, workshop: Rig) -> None:
    """Refuse air, floors and microphones that don't fit round or into the cabinet."""
    cabinet = parts.cabinet
    if isinstance(cabinet, BoxCabinet):
        depth, width, outside = (
            cabinet.depth_m,
            cabinet.width_m,
            float(np.prod(np.diff(cabinet.corners(), axis=0))),
        )
    elif isinstance(cabinet, SphericalCabinet):
        depth = width = cabinet.diameter_m
        outside = math.pi / 6.0 * cabinet.diameter_m**3
    else:
        return
    inside = sum(enclosure.interior.volume_m3 for enclosure in parts.source.enclosures)
    if inside > outside:
        raise document.error(f"enclosures hold {inside:.3g} m³ in a cabinet of {outside:.3g} m³")
    table = workshop.turntable
    behind = table.rotation_behind_m
    reach = math.hypot(max(abs(behind), abs(depth - behind)), width / 2.0)
    if table.distance_m + behind <= reach:
        raise document.error(
            f"turning, the cabinet reaches {reach:.2f} m from its axis, and the microphone stands there"
        )
    if workshop.chain.output_ohm and any(branch.ideal for branch in parts.source.branches):
        raise document.error(
            "an active loudspeaker is no load: its rig has no output_ohm; measure it in another"
        )


def names() -> tuple[str, ...]:
    """All scenarios, in the order of the alphabet."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


def titles() -> dict[str, str]:
    """What each scenario's facts call it in one line, by its name."""
    return {name: str(_toml(FOLDER / name / "case.toml")["title"]) for name in names()}


def _toml(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _text(folder: Path, what: str, name: str) -> str:
    known = sorted(path.stem for path in folder.glob("*.toml"))
    if name not in known:
        raise ScenarioError(f"no {what} is called {name!r}; there are: {', '.join(known)}")
    return (folder / f"{name}.toml").read_text(encoding="utf-8")


def _document(name: str, text: str) -> Table:
    try:
        return Table(f"{name}.toml", tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{name}.toml: not TOML: {error}") from error
