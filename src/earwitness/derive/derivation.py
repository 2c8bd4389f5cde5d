"""The one door: reduced responses in, curves and figures of merit out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from earwitness.derive.active_figures import active_figures
from earwitness.derive.change_with_level import change_with_level
from earwitness.derive.correctability import correctability
from earwitness.derive.coverage import orbit_coverage
from earwitness.derive.coverage_figures import coverage
from earwitness.derive.curves import derive_curves
from earwitness.derive.directivity import meeting_difference_db, take_powers
from earwitness.derive.distortion_figures import distortion_figures
from earwitness.derive.extension_figures import NAMES as EXTENSIONS
from earwitness.derive.extension_figures import extension
from earwitness.derive.impedance import derive_impedance
from earwitness.derive.impedance_figures import impedance_figures
from earwitness.derive.in_room_figures import in_room_smoothness, in_room_tilt, in_room_trend
from earwitness.derive.level_figures import sensitivity, tolerance
from earwitness.derive.long_term_figures import long_term_figures
from earwitness.derive.near_distortion import near_figures
from earwitness.derive.orbit_figures import orbit_agreement
from earwitness.derive.rattle_figures import rattle_figures
from earwitness.derive.reference_drive import require_drives_fit
from earwitness.derive.sampling_figures import sound_power_sampling
from earwitness.derive.time_behaviour import spokesman, time_behaviour
from earwitness.derive.time_figures import time_figures
from earwitness.derive.tone_figures import tone_figures
from earwitness.derive.uncertainty import take_errors
from earwitness.records.active import NOT_DETERMINED, Latency
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Figure
from earwitness.records.long_term import NO_LONG_TERM, LongTerm
from earwitness.records.responses import Responses
from earwitness.records.takes import Orbit
from earwitness.records.tones import NO_TONES, ToneSet


@dataclass(frozen=True)
class Derivation:
    """What follows from the responses of a case."""

    curves: CurveSet
    figures: tuple[Figure, ...]


def derive(
    responses: Responses,
    facts: CaseFacts,
    series: Sequence[LevelSeries] = (),
    long_term: LongTerm = NO_LONG_TERM,
    tones: ToneSet = NO_TONES,
    *,
    late: Latency = NOT_DETERMINED,
) -> Derivation:
    """Curves, coverage and figures of merit of a case at its reference drive, and what its other drives tell.

    `series` are the orders of distortion at several drives, `long_term` what a load that lasts does,
    `tones` what is added to steady tones, `late` how late it plays.

    Raises
    ------
    NotAvailableError
        No take has both a direction and a drive.
    CaseError
        The takes' drives can't be those of the loudspeaker: ``unit.active`` says otherwise.
    """
    require_drives_fit(responses.takes, facts.unit.active)
    takes = take_powers(responses, facts.unit.symmetry)
    derived = derive_curves(takes, take_errors(responses, takes, facts))
    orbits = {orbit: orbit_coverage(derived, orbit) for orbit in Orbit}
    line, residual = in_room_trend(derived)
    row = spokesman(responses, takes)
    time = None if row is None else time_behaviour(responses, row)
    measured = responses.impedance
    impedance = None if measured is None else derive_impedance(measured, facts.uncertainty)
    extensions = tuple(extension(derived, name) for name in EXTENSIONS)
    sensitive = sensitivity(derived)
    rattle = rattle_figures(tones.rattles, sensitive)
    figures = (
        sensitive,
        *extensions,
        tolerance(derived, CurveName.ON_AXIS),
        tolerance(derived, CurveName.LISTENING_WINDOW),
        in_room_tilt(derived),
        in_room_smoothness(derived),
        *(coverage(derived, orbit, found) for orbit, found in orbits.items()),
        sound_power_sampling(derived),
        orbit_agreement(derived),
        *time_figures(derived, time, extensions, responses.pressure[0 if row is None else row]),
        *distortion_figures(series, derived.component_draws_db.get(CurveName.ON_AXIS, {})),
        *near_figures(series),
        *impedance_figures(impedance, facts.unit),
        *long_term_figures(long_term),
        *tone_figures(tones),
        *rattle,
        *active_figures(derived, late, facts),
    )
    curves = CurveSet(
        frequency_hz=takes.frequency_hz,
        drive=takes.drive.label,
        curves=derived.curves,
        coverage={str(orbit): found.chart for orbit, found in orbits.items() if found is not None},
        valid_from_hz=responses.valid_from_hz,
        separable_sound_power_db=derived.separable_db,
        in_room_trend_db=line,
        in_room_residual_db=residual,
        meeting_difference_db=meeting_difference_db(takes),
        time=time,
        impedance=impedance,
        level=change_with_level(series),
        correctability=correctability(derived),
        long_term=long_term,
        tones=tones if rattle else replace(tones, rattles=()),
    )
    return Derivation(curves, figures)
