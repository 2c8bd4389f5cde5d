"""The truth about a scenario as a file: its curves, and each fault with its effect on every one of them.

An effect is counterfactual: 20 lg|H with / H without| of each curve, all other faults in place (the
difference of the two for a directivity index). Beside what the scenario calls faults stand two mechanisms
that every box with several drivers has, faults or none: its edges, and the distances between its drivers.
They are called geometry: real diffraction found in a loudspeaker without that fault is no false alarm.

Pressure is taken in 72 directions as seen from the reference point, at the rig's distance and referred to 1 m
by it, for 2.83 V (an active loudspeaker's volt is one of its input), without room, microphone or noise.

What the rig does to the recorded set is a list of its own, the artefacts, effects and all (`artefacts`).
What isn't linear has a part of its own too (`truth_large`); all the rest is of small signals.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, get_args

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.artefacts import Artefact, artefacts
from earwitness.virtual.box import BoxCabinet
from earwitness.virtual.counterfactual import Heard, Listening, ball_diameter_m, edge_distances_m
from earwitness.virtual.faults import Cause, Fault, value_at
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.scenario import Scenario
from earwitness.virtual.standard_curves import CURVES, DIRECTIONS, power_curves
from earwitness.virtual.truth import DRIVE_V, REFERENCE_PA, directions
from earwitness.virtual.truth_json import DECIMALS, NUMBER, TEXT, rounded, strict_object
from earwitness.virtual.truth_large import LARGE_SCHEMA, large_signal_truth

VERSION: Final = 4
#: f = 1000·2^(k/48) Hz, 20 Hz to 20 kHz: every second point of the project's own grid.
FREQUENCIES: Final = 1000.0 * 2.0 ** (np.arange(-270, 208) / 48.0)


def geometry(scenario: Scenario) -> tuple[Fault, ...]:
    """Edges and spacing, where the scenario has them and doesn't call them faults itself."""
    source, found = scenario.loudspeaker.source, []
    called = {fault.cause for fault in scenario.faults}
    if isinstance(scenario.loudspeaker.cabinet, BoxCabinet) and "edge_diffraction" not in called:
        note = "What the box's edges do, that a ball for each radiator wouldn't."
        found.append(Fault("edges", "edge_diffraction", note, edges=source.radiators))
    if len(source.drivers) > 1 and "spaced_sources" not in called:
        note = "What the distances between the drivers do."
        found.append(Fault("spacing", "spaced_sources", note, together=source.drivers))
    return tuple(found)


def listening(scenario: Scenario, frequencies: Floats = FREQUENCIES) -> Listening:
    """The scenario in all 72 directions at the rig's distance."""
    distance = scenario.turntable.distance_m
    units = [directions(orbit, np.array([float(angle)]))[0] for orbit, angle in DIRECTIONS]
    return Listening(scenario.document, Heard(distance * np.array(units), frequencies, scenario.air))


def truth(scenario: Scenario) -> dict[str, Any]:
    """The truth, ready for JSON; its form is `SCHEMA`'s.

    Takes as long as the cabinet's transfer to 72 directions, and to their images in the room: seconds for a
    box, less for a ball.
    """
    heard = listening(scenario)
    distance = scenario.turntable.distance_m
    scale = DRIVE_V * distance / REFERENCE_PA
    whole = decibels(power_curves(scale * heard.pressure()))
    ohms = _ohms(heard.parts(), scenario.air)
    without = decibels(power_curves(scale * heard.pressure(scenario.faults)))
    standing = [("fault", each) for each in scenario.faults]
    standing += [("geometry", each) for each in geometry(scenario)]
    faults = []
    for kind, fault in standing:
        missing = decibels(power_curves(scale * heard.pressure([fault])))
        effects = {name: whole[name] - missing[name] for name in CURVES}
        change = _change(ohms, _ohms(heard.parts([fault]), scenario.air))
        faults.append(_entry(scenario, kind, fault, effects) | {"impedance_effect_db": change})
    return {
        "schema_version": VERSION,
        "scenario": scenario.name,
        "conditions": {
            "drive_v": DRIVE_V,
            "distance_m": distance,
            "full_scale_v": scenario.full_scale_v,
            "temperature_c": scenario.air.temperature_c,
        },
        "frequency_hz": rounded(FREQUENCIES),
        "curves": {name: rounded(level) for name, level in whole.items()},
        "curves_without_faults": {name: rounded(level) for name, level in without.items()},
        "impedance": _impedance(ohms),
        "impedance_without_faults": _impedance(_ohms(heard.parts(scenario.faults), scenario.air)),
        "faults": faults,
        "artefacts": [_artefact(each) for each in artefacts(scenario.session, FREQUENCIES)],
        "large_signal": large_signal_truth(scenario),
    }


def write(scenario: Scenario, path: Path) -> None:
    """Write the truth as JSON; the same scenario gives the same bytes on the same machine."""
    text = json.dumps(truth(scenario), indent=1, allow_nan=False, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def decibels(power: Mapping[str, Floats]) -> dict[str, Floats]:
    """Levels of powers."""
    return {name: np.asarray(10.0 * np.log10(each)) for name, each in power.items()}


def _entry(scenario: Scenario, standing: str, fault: Fault, effects: Mapping[str, Floats]) -> dict[str, Any]:
    radiators = _radiators(scenario, fault)
    names = scenario.loudspeaker.source.radiators
    cabinet = scenario.loudspeaker.cabinet
    places = [cabinet.in_front_of(names.index(name), 0.0) for name in radiators]
    return {
        "name": fault.name,
        "standing": standing,
        "cause": fault.cause,
        "note": fault.note,
        "counterfactual": fault.counterfactual,
        "place": [
            {"radiator": name, **_place(place)}
            for name, place in zip(radiators, np.array(places).tolist(), strict=True)
        ],
        "parameters": _parameters(scenario, fault),
        **_effects(effects),
    }


def _artefact(artefact: Artefact) -> dict[str, Any]:
    return {
        "name": artefact.name,
        "cause": "artefact",
        "note": artefact.note,
        "place": [{"part": part, **_place(place)} for part, place in artefact.places],
        "parameters": [_parameter(*parameter) for parameter in artefact.parameters],
        **_effects(artefact.effects_db),
    }


def _place(place: Sequence[float]) -> dict[str, float]:
    return dict(zip(("x_m", "y_m", "z_m"), (round(along, 6) for along in place), strict=True))


def _effects(effects: Mapping[str, Floats]) -> dict[str, Any]:
    worst = int(np.argmax(np.abs(effects["on_axis"])))
    return {
        "largest_on_axis": {
            "frequency_hz": round(float(FREQUENCIES[worst]), DECIMALS),
            "effect_db": round(float(effects["on_axis"][worst]), DECIMALS),
        },
        "effects_db": {name: rounded(effect) for name, effect in effects.items()},
    }


def _radiators(scenario: Scenario, fault: Fault) -> tuple[str, ...]:
    """Where it comes out."""
    source = scenario.loudspeaker.source
    if fault.edges or fault.together:
        return fault.edges or fault.together
    named = [
        name for own in source.faults(scenario.air) if own.name in fault.silences for name in own.radiators
    ]
    fed = {each.content["name"]: each.content["drivers"] for each in scenario.document.tables("branches")}
    for path in fault.instead:
        of, name, *_ = path.split(".")
        named += fed[name] if of == "branches" else [name] * (name in source.radiators)
    return tuple(dict.fromkeys(named)) or source.radiators


def _parameters(scenario: Scenario, fault: Fault) -> list[dict[str, Any]]:
    found = []
    for own in scenario.loudspeaker.source.faults(scenario.air):
        if own.name in fault.silences:
            frequency_hz, q = scenario.loudspeaker.source.ringing(own.name, scenario.air)
            found.append(_parameter(own.name, "frequency_hz", frequency_hz))
            found.append(_parameter(own.name, "q", q))
            found.append(_parameter(own.name, "own_frequency_hz", own.frequency_hz))
            if own.q is not None:
                found.append(_parameter(own.name, "own_q", own.q))
    for path, value in fault.instead.items():
        of, _, name = path.rpartition(".")
        found.append(_parameter(of, name, value_at(scenario.document, path), float(value)))
    cabinet, names = scenario.loudspeaker.cabinet, scenario.loudspeaker.source.radiators
    if isinstance(cabinet, BoxCabinet):
        for radiator in fault.edges:
            number = names.index(radiator)
            sides = ("to_left_m", "to_right_m", "to_top_m", "to_bottom_m")
            found += map(_parameter, [radiator] * 4, sides, edge_distances_m(cabinet, number))
            found.append(_parameter(radiator, "ball_diameter_m", ball_diameter_m(cabinet, number)))
    found += _spacings(scenario, fault.together)
    return found


def _spacings(scenario: Scenario, together: Sequence[str]) -> list[dict[str, Any]]:
    places = {name: scenario.loudspeaker.in_front_of(name, 0.0) for name in together}
    return [
        _parameter(f"{one} and {other}", "spacing_m", float(np.linalg.norm(places[one] - places[other])))
        for number, one in enumerate(together)
        for other in together[number + 1 :]
    ]


def _parameter(of: str, name: str, value: float, without: float | None = None) -> dict[str, Any]:
    return {"of": of, "name": name, "value": float(f"{value:.9g}"), "without": without}


def _ohms(parts: Loudspeaker, air: Air) -> Complexes | None:
    """Impedance at the terminals; None for an active loudspeaker."""
    if any(branch.ideal for branch in parts.source.branches):
        return None
    return parts.impedance(FREQUENCIES, air)


def _change(whole: Complexes | None, without: Complexes | None) -> list[float] | None:
    """20 lg|Z with / Z without|."""
    if whole is None or without is None:
        return None
    return rounded(20.0 * np.log10(np.abs(whole) / np.abs(without)))


def _impedance(ohms: Complexes | None) -> dict[str, Any] | None:
    """Magnitude and phase."""
    if ohms is None:
        return None
    return {
        "magnitude_ohm": rounded(np.abs(ohms)),
        "phase_deg": rounded(np.degrees(np.angle(ohms))),
    }


_LEVELS: Final = {
    "type": "array",
    "items": NUMBER,
    "minItems": len(FREQUENCIES),
    "maxItems": len(FREQUENCIES),
}
_CURVES: Final = strict_object(dict.fromkeys(CURVES, _LEVELS))
_PARAMETERS: Final = {
    "type": "array",
    "minItems": 1,
    "items": strict_object(
        {"of": TEXT, "name": TEXT, "value": NUMBER, "without": {"type": ["number", "null"]}}
    ),
}
_EFFECTS: Final = {
    "largest_on_axis": strict_object({"frequency_hz": NUMBER, "effect_db": NUMBER}),
    "effects_db": _CURVES,
}
_IMPEDANCE: Final = {
    "anyOf": [{"type": "null"}, strict_object({"magnitude_ohm": _LEVELS, "phase_deg": _LEVELS})]
}
_PLACE: Final = dict.fromkeys(("x_m", "y_m", "z_m"), NUMBER)
_FAULT: Final = strict_object(
    {
        "name": TEXT,
        "standing": {"enum": ["fault", "geometry"]},
        "cause": {"enum": list(get_args(Cause))},
        "note": TEXT,
        "counterfactual": {"enum": ["silenced", "instead", "edge_free", "coincident"]},
        "place": {
            "type": "array",
            "minItems": 1,
            "items": strict_object({"radiator": TEXT, **_PLACE}),
        },
        "parameters": _PARAMETERS,
        **_EFFECTS,
        "impedance_effect_db": {"anyOf": [{"type": "null"}, _LEVELS]},
    }
)
_ARTEFACT: Final = strict_object(
    {
        "name": TEXT,
        "cause": {"const": "artefact"},
        "note": TEXT,
        "place": {"type": "array", "items": strict_object({"part": TEXT, **_PLACE})},
        "parameters": _PARAMETERS,
        **_EFFECTS,
    }
)
#: The form of a truth file, as a JSON Schema.
SCHEMA: Final[dict[str, Any]] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "What is true of a scenario of the virtual workshop",
    **strict_object(
        {
            "schema_version": {"const": VERSION},
            "scenario": TEXT,
            "conditions": strict_object(
                {
                    "drive_v": NUMBER,
                    "distance_m": NUMBER,
                    "full_scale_v": {"type": ["number", "null"]},
                    "temperature_c": NUMBER,
                }
            ),
            "frequency_hz": _LEVELS,
            "curves": _CURVES,
            "curves_without_faults": _CURVES,
            "impedance": _IMPEDANCE,
            "impedance_without_faults": _IMPEDANCE,
            "faults": {"type": "array", "items": _FAULT},
            "artefacts": {"type": "array", "items": _ARTEFACT},
            "large_signal": LARGE_SCHEMA,
        }
    ),
}
