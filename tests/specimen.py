"""A made-up case in memory, for tests of what is drawn and published: not measured, not built.

Levels are simple closed forms, so that a test can say what must be seen where.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from earwitness.records.curves import CoverageMap, Curve, CurveName, CurveSet
from earwitness.records.facts import (
    CaseFacts,
    Claim,
    Disclosure,
    Radiator,
    Rig,
    Sphere,
    StatedUncertainty,
    Unit,
)
from earwitness.records.figures import (
    Evidence,
    Figure,
    FigureName,
    NotAvailable,
    Plateau,
    Plateaus,
    Quantity,
    Results,
    Tolerance,
    Value,
)
from earwitness.records.findings import ClaimJudgement, Finding, Findings, Judgement, Place
from earwitness.records.grid import Floats, derived_grid
from earwitness.records.sentences import Number, Quoted, Sentence, Term, say
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import TakeId
from earwitness.records.uncertainty import ComponentName

GRID = derived_grid()
TAKES = tuple(TakeId(f"horizontal_{a:+04d}.wav") for a in range(-170, 181, 10))
CTA = Source("CTA-2034-A", "2015", "", Standing.RECALLED)


def facts(name: str = "Cobble Two") -> CaseFacts:
    """Facts of an invented loudspeaker."""
    return CaseFacts(
        unit=Unit(
            name=name,
            maker="Saltmarsh Works",
            kind="stand-mount, two-way, sealed",
            serial="0007",
            price=480.0,
            currency="EUR",
            price_date=dt.date(2026, 11, 2),
            cabinet=Sphere(diameter_m=0.28),
            radiators=(Radiator("woofer", 0.11, up_m=-0.05),),
        ),
        number=1,
        disclosure=Disclosure(unit_from="lent by its owner", paid_by="nobody"),
        rig=Rig(distance_m=2.0, height_m=1.4, microphone_height_m=1.4, temperature_c=21.0),
        uncertainty=StatedUncertainty(microphone_db=0.3, level_db=0.2, angle_deg=1.0),
        claims=(Claim("Bass down to 45 Hz", "f3", 45.0),),
    )


def sealed_box(corner_hz: float = 60.0, q: float = 0.7) -> Floats:
    """A second-order high-pass in dB on the grid."""
    w = GRID / corner_hz
    return np.asarray(10 * np.log10(w**4 / ((1 - w**2) ** 2 + (w / q) ** 2)))


def curve(name: CurveName, level: Floats, valid_from_hz: float) -> Curve:
    """A curve that is valid from a frequency up."""
    valid = valid_from_hz <= GRID
    spread = np.where(valid, 0.4, np.nan)
    return Curve(
        name=name,
        level_db=np.where(valid, level, np.nan),
        valid=valid,
        uncertainty_db=spread,
        components_db={ComponentName.MICROPHONE: np.where(valid, 0.3, np.nan), ComponentName.REPEAT: None},
        method="methods.cta_2034",
        source=CTA,
        takes=TAKES,
    )


def curve_set(valid_from_hz: float = 20.0) -> CurveSet:
    """All fourteen curves: 86 dB, a sealed box at 60 Hz, off-axis curves that fall with frequency."""
    octaves = np.clip(np.log2(GRID / 300.0), 0.0, None)
    base = 86.0 + sealed_box() + 0.8 * np.sin(2 * np.pi * np.log2(GRID / 1000.0)) * (GRID > 500)
    slope = {
        CurveName.ON_AXIS: 0.0,
        CurveName.LISTENING_WINDOW: 0.15,
        CurveName.FLOOR_REFLECTION: 0.5,
        CurveName.CEILING_REFLECTION: 0.9,
        CurveName.FRONT_REFLECTION: 0.3,
        CurveName.SIDE_REFLECTION: 0.9,
        CurveName.REAR_REFLECTION: 2.2,
        CurveName.EARLY_REFLECTIONS: 0.8,
        CurveName.TOTAL_HORIZONTAL_REFLECTIONS: 0.9,
        CurveName.TOTAL_VERTICAL_REFLECTIONS: 0.7,
        CurveName.SOUND_POWER: 1.4,
    }
    level = {name: base - k * octaves for name, k in slope.items()}
    window = level[CurveName.LISTENING_WINDOW]
    level[CurveName.EARLY_REFLECTIONS_DI] = window - level[CurveName.EARLY_REFLECTIONS]
    level[CurveName.SOUND_POWER_DI] = window - level[CurveName.SOUND_POWER]
    level[CurveName.ESTIMATED_IN_ROOM] = base - 0.95 * octaves
    trend = 84.0 - 0.95 * np.log2(GRID / 1000.0)
    in_band = (GRID >= 100.0) & (GRID <= 16_000.0)
    residual = level[CurveName.ESTIMATED_IN_ROOM] - trend
    return CurveSet(
        frequency_hz=GRID,
        drive="2.83 V",
        curves={name: curve(name, level[name], valid_from_hz) for name in CurveName},
        coverage={o: coverage_map(o, valid_from_hz) for o in ("horizontal", "vertical")},
        valid_from_hz=valid_from_hz,
        separable_sound_power_db=level[CurveName.SOUND_POWER] - 0.2,
        in_room_trend_db=np.where(in_band, trend, np.nan),
        in_room_residual_db=np.where(in_band, residual, np.nan),
    )


def coverage_map(orbit: str, valid_from_hz: float) -> CoverageMap:
    """A smooth map whose −6 dB line narrows from 90° at 300 Hz to 35° at 16 kHz."""
    half = np.clip(90.0 - 9.6 * np.log2(np.clip(GRID, 300.0, None) / 300.0), 20.0, 90.0)
    angle = np.arange(-180.0, 181.0, 10.0)
    relative = -6.0 * (angle[:, None] / half[None, :]) ** 2
    valid = np.broadcast_to(valid_from_hz <= GRID, relative.shape)
    line = np.where(valid_from_hz <= GRID, half, np.nan)
    return CoverageMap(
        orbit=orbit,
        angle_deg=angle,
        relative_db=np.where(valid, np.maximum(relative, -40.0), np.nan),
        valid=np.array(valid),
        positive_deg=line,
        negative_deg=line,
        positive_uncertainty_deg=np.full_like(line, 2.0),
        negative_uncertainty_deg=np.full_like(line, 2.0),
        takes=TAKES,
    )


def figure(
    name: FigureName, value: Value, unit: str, uncertainty: float | None, conditions: Sentence
) -> Figure:
    """A figure of merit that rests on the on-axis curve."""
    return Figure(
        name=name,
        value=value,
        unit=unit,
        uncertainty=uncertainty,
        components={ComponentName.MICROPHONE: 0.3, ComponentName.REPEAT: None},
        conditions=conditions,
        reading="default",
        valid_band_hz=None if isinstance(value, NotAvailable) else (20.0, 20_000.0),
        method="methods.cta_2034",
        source=CTA,
        evidence=Evidence((CurveName.ON_AXIS,), TAKES[:1]),
        also={},
    )


def results(half_empty: bool = False) -> Results:
    """Ten figures; `half_empty` has the bass figures and the vertical coverage not available."""
    on_axis = say("on axis")
    no_bass: Value = NotAvailable("not available: valid from 555 Hz", valid_from_hz=555.0)
    steady = Plateaus(
        (
            Plateau(300.0, 1200.0, 65.0, 65.0, 2.0, 2.0),
            Plateau(2500.0, 9000.0, 45.0, 52.0, 2.0, 2.0),
        )
    )
    return Results(
        schema_version=1,
        build_id="0" * 16,
        program="earwitness 0",
        case="specimen",
        raw_digest="0" * 64,
        figures=(
            figure(FigureName.SENSITIVITY, Quantity(86.4), "dB", 0.5, on_axis),
            figure(FigureName.F3, no_bass if half_empty else Quantity(60.2), "Hz", 2.0, on_axis),
            figure(FigureName.F6, no_bass if half_empty else Quantity(47.0), "Hz", 2.0, on_axis),
            figure(FigureName.F10, no_bass if half_empty else Quantity(36.0), "Hz", 2.0, on_axis),
            figure(FigureName.TOLERANCE_ON_AXIS, Tolerance(2.9, 2.2, 86.4), "dB", None, on_axis),
            figure(FigureName.TOLERANCE_LISTENING_WINDOW, Tolerance(1.9, 2.0, 86.4), "dB", None, on_axis),
            figure(FigureName.IN_ROOM_TILT, Quantity(-0.95), "dB/octave", 0.05, say("estimated in-room")),
            figure(FigureName.IN_ROOM_SMOOTHNESS, Quantity(0.8), "dB", 0.1, say("estimated in-room")),
            figure(
                FigureName.COVERAGE_HORIZONTAL,
                steady,
                "°",
                None,
                say("at ", Number("−6 dB", -6.0, "method:derive.coverage/EDGE_DB")),
            ),
            figure(
                FigureName.COVERAGE_VERTICAL,
                NotAvailable("directions were not measured", missing=("vertical +30°",))
                if half_empty
                else steady,
                "°",
                None,
                say("at ", Number("−6 dB", -6.0, "method:derive.coverage/EDGE_DB")),
            ),
        ),
    )


def findings() -> Findings:
    """Three findings: two on figures, one on a claim."""
    evidence = Evidence((CurveName.ON_AXIS,), TAKES[:1])
    sensitivity = Number("86.4 dB", 86.4, "figure:sensitivity/value/value")
    f6 = Number("47 Hz", 47.0, "figure:f6/value/value")
    return Findings(
        schema_version=1,
        build_id="0" * 16,
        case="specimen",
        findings=(
            Finding(
                id="figure-f6",
                subject="figure",
                statement=say("Bass reaches down to ", f6, "."),
                explanation=say(
                    "Below it the loudspeaker fades; ", Term("F6"), " is where it has lost half its pressure."
                ),
                note=say("low-frequency extension"),
                importance=0.9,
                place=Place("on_axis", (40.0, 60.0), "on axis", "2.83 V", 80.0),
                figures=(FigureName.F6,),
                evidence=evidence,
            ),
            Finding(
                id="figure-sensitivity",
                subject="figure",
                statement=say("It plays ", sensitivity, " at one metre."),
                explanation=say("An ordinary amplifier will do."),
                note=say("sensitivity"),
                importance=0.5,
                place=Place("on_axis", (300.0, 3000.0), "on axis", "2.83 V", 86.4),
                figures=(FigureName.SENSITIVITY,),
                evidence=evidence,
            ),
            Finding(
                id="claim-1",
                subject="claim",
                statement=say("The maker's bass claim is not confirmed."),
                explanation=say("The maker says “", Quoted("Bass down to 45 Hz", "case:claims/0/text"), "”."),
                note=say("maker's claim"),
                importance=0.4,
                place=Place("on_axis", (40.0, 60.0), "on axis", "2.83 V", 80.0),
                figures=(FigureName.F3,),
                evidence=evidence,
                claim=ClaimJudgement(0, Judgement.NOT_CONFIRMED, ()),
            ),
        ),
    )
