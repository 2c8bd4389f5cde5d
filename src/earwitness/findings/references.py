"""What a number's reference points at.

=========================================  =====================================================
reference                                  what it names
=========================================  =====================================================
``figure:NAME/value/value``                a field of a figure of merit, by attribute, key or index
``claim:0/readings/1/value``                what a maker's claim was found to be under one definition
``feature:1/feature/gain_db``                a field of the finding on a feature, by its number
``change:1/change/change_db``                a field of the finding on a band that changes with the drive
``testimony:1/deviation_db``                a field of a listening note held against the data
``case:rig.distance_m``                    a field of ``case.toml`` (dots or slashes)
``curve:NAME/valid_from_hz``               the lowest (``valid_to_hz``: highest) valid frequency of a curve
``curve:NAME/at/HZ``                       the level of a curve at the grid frequency nearest to HZ
``curve:NAME/uncertainty/at/HZ``           its standard uncertainty there
``curve:NAME/components/PART/at/HZ``       one component of that
``impedance:minima/0/ohms``                 a field of what was found in the impedance
``long_term:endurance/change_db/0``         a field of what a load that lasts does, or of self-noise
``tones:multitone/0/level_db``              a field of what is added to steady tones
``level:ratio/3/at/HZ``                    change with level at one drive, at the frequency nearest to HZ;
                                           ``level:output_db/4`` of one drive or band
``correctable:frequency_hz/12``             one of the points at which it is told what an equaliser mends
``time:PART/FIELD/at/X``                    time behaviour at the frequency or time nearest to X, or a field
``method:MODULE/CONSTANT/0``               a constant of ``earwitness.methods.MODULE``, or
                                           of ``earwitness.MODULE`` where that has a dot
=========================================  =====================================================
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Figure
from earwitness.records.findings import Finding
from earwitness.records.grid import Floats
from earwitness.records.sentences import Sentence
from earwitness.records.time import TimeBehaviour


@dataclass(frozen=True)
class Referent:
    """What references are resolved against."""

    facts: CaseFacts
    figures: tuple[Figure, ...]
    curves: CurveSet
    findings: tuple[Finding, ...] = ()

    def resolve(self, reference: str) -> float:
        """The number that `reference` names.

        Raises
        ------
        LookupError
            If it names nothing, or nothing that is a number.
        """
        scheme, _, path = reference.partition(":")
        steps = path.split("/")
        match scheme:
            case "figure":
                named = {str(f.name): f for f in self.figures}
                found = _walk(named, steps)
            case "claim" | "feature" | "change" | "testimony":
                found = _walk(self._told(scheme), steps)
            case "case":
                found = _walk(self.facts, path.replace("/", ".").split("."))
            case "curve":
                found = self._curve(steps)
            case "time":
                found = self._time(steps)
            case "level" | "correctable":
                found = self._level(steps) if scheme == "level" else self._correctable(steps)
            case "long_term" | "tones":
                found = _walk(getattr(self.curves, scheme), steps)
            case "impedance":
                found = _walk(self.curves.impedance, steps)
            case "method":
                found = _walk(_module(steps[0]), steps[1:])
            case _:
                raise LookupError(f"unknown kind of reference: {reference}")
        if isinstance(found, int | float) and not isinstance(found, bool):
            return float(found)
        raise LookupError(f"{reference} is not a number")

    def _told(self, scheme: str) -> Mapping[str, object]:
        """Findings of one kind by their number, or what they judge."""
        if scheme == "claim":
            return {str(f.claim.index): f.claim for f in self.findings if f.claim is not None}
        if scheme == "feature":
            return {f.id.removeprefix("feature-"): f for f in self.findings if f.feature is not None}
        if scheme == "change":
            return {str(f.change.number): f for f in self.findings if f.change is not None}
        return {str(f.testimony.note.number): f.testimony for f in self.findings if f.testimony is not None}

    def require(self, sentence: Sentence) -> None:
        """Make sure that every number of a sentence is what its reference names.

        Raises
        ------
        LookupError
            If one isn't.
        """
        for number in sentence.numbers:
            named = self.resolve(number.reference)
            if not np.isclose(named, number.value, rtol=1e-9, atol=0.0):
                raise LookupError(f"{number.reference} is {named!r}, and the text says {number.value!r}")

    def _curve(self, steps: Sequence[str]) -> object:
        name = CurveName(steps[0])
        band = self.curves.valid_band_hz(name)
        match list(steps[1:]):
            case ["valid_from_hz"] if band:
                return band[0]
            case ["valid_to_hz"] if band:
                return band[1]
            case ["at", hz]:
                return self._at(self.curves.curves[name].level_db, hz)
            case ["uncertainty", "at", hz]:
                return self._at(self.curves.curves[name].uncertainty_db, hz)
            case ["components", part, "at", hz]:
                return self._at(_walk(self.curves.curves[name].components_db, [part]), hz)
        raise LookupError(f"a curve has no {'/'.join(steps[1:])}")

    def _at(self, values: object, hz: str) -> float:
        nearest = int(np.argmin(np.abs(np.log(self.curves.frequency_hz / float(hz)))))
        return float(np.asarray(values)[nearest])

    def _level(self, steps: Sequence[str]) -> object:
        match list(steps):
            case [field, row, "at", hz]:
                return self._at(np.asarray(_walk(self.curves.level, [field]))[int(row)], hz)
            case [field, row]:
                return float(np.asarray(_walk(self.curves.level, [field]))[int(row)])
        return _walk(self.curves.level, steps)

    def _correctable(self, steps: Sequence[str]) -> object:
        values = np.asarray(_walk(self.curves.correctability, steps[:-1]))
        if not (steps[-1].isdigit() and int(steps[-1]) < values.size):
            raise LookupError(f"what an equaliser mends has no {'/'.join(steps)}")
        return float(values[int(steps[-1])])

    def _time(self, steps: Sequence[str]) -> object:
        match list(steps):
            case [part, field, "at", place] if self.curves.time is not None:
                along = self._along(self.curves.time, part)
                values = np.asarray(_walk(self.curves.time, [part, field]))
                return float(values[int(np.argmin(np.abs(along - float(place))))])
        return _walk(self.curves.time, steps)

    def _along(self, time: TimeBehaviour, part: str) -> Floats:
        """What the fields of one part of time behaviour run along."""
        if part == "waveforms" and time.waveforms is not None:
            return time.waveforms.time_s
        if part == "bursts" and time.bursts is not None:
            return time.bursts.frequency_hz
        if part == "delays":
            return self.curves.frequency_hz
        raise LookupError(f"time behaviour has no {part} to look up")


def _module(name: str) -> object:
    try:
        return importlib.import_module(f"earwitness.{name}" if "." in name else f"earwitness.methods.{name}")
    except ImportError as error:
        raise LookupError(f"there is no method {name}") from error


def _walk(start: object, steps: Sequence[str]) -> object:
    here = start
    for step in steps:
        if isinstance(here, Mapping):
            here = {str(key): value for key, value in here.items()}.get(step)
        elif isinstance(here, Sequence) and not isinstance(here, str) and step.isdigit():
            here = here[int(step)] if int(step) < len(here) else None
        else:
            here = getattr(here, step, None)
        if here is None:
            raise LookupError(f"{'/'.join(steps)}: nothing at {step}")
    return here
