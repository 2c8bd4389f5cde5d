"""The sidecar of a stimulus: a TOML file beside the sound that says what is in it, written and read."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import tomlkit

from earwitness.case.drives import format_number
from earwitness.case.toml_text import Place, TomlText, read_toml
from earwitness.records.errors import CaseError
from earwitness.records.stimuli import (
    KINDS,
    SIDECAR_FORM,
    MultitoneSignal,
    NoiseSignal,
    RunSignal,
    Signal,
    StimulusFacts,
    SweepSignal,
)

SUFFIX: Final = ".toml"
MOST_TONES: Final = 400
_HZ: Final = (0.1, 400_000.0)
_S: Final = (0.0, 3600.0)
_DB: Final = (-200.0, 200.0)
_VOLTS: Final = (1e-6, 1000.0)
_SEEDS: Final = (0, 2**31 - 1)
_NAME: Final = re.compile(r"[^/\\\x00-\x1f]{1,200}")
_DIGEST: Final = re.compile(r"[0-9a-f]{64}")
#: How far numbers that follow from each other may differ: they are written in nine digits.
_SAME: Final = 1e-6
#: How far a sweep's greatest sample may be from its level: 24 bits at −80 dBFS have steps of 0.01 dB.
_PEAK_DB: Final = 0.02
_AGAIN: Final = "write it again with `earwitness stimulus`"

_HEAD: Final = """\
# What {file} holds, as `earwitness stimulus` wrote it.
# Keep it beside the sound: `earwitness add` reads it.
#
# Caution: start quietly. Loud signals harm hearing and destroy loudspeakers and amplifiers. Leave the room or
# wear hearing protection; local law and qualified people come first.
#
# level_dbfs is RMS re a full-scale sine (AES17), of a sweep that of a steady sine at its peak; peak_dbfs is
# the greatest sample re full scale; rms_dbfs and crest_factor_db are of what sounds, without the silences.
"""


def sidecar_of(sound: Path) -> Path:
    """Where the sidecar of a sound file lies: its name with ``.toml`` for its end."""
    return sound.with_suffix(SUFFIX)


def sidecar_text(facts: StimulusFacts) -> str:
    """The text that `read_sidecar` reads back as the same facts."""
    signal = facts.signal
    lines = [
        _HEAD.format(file=facts.file),
        *_stated({"form": SIDECAR_FORM, "kind": facts.kind}),
        *_stated(_fields(facts, leave="signal")),
        f"\n[{facts.kind}]",
        *_stated(_fields(signal)),
    ]
    return "\n".join(lines) + "\n"


def read_sidecar(path: Path) -> StimulusFacts:
    """The facts that a sidecar states.

    Raises
    ------
    CaseError
        It can't be read, has a key that it shouldn't have or lacks one, a value can't be, or two contradict
        each other: with line and key.
    """
    toml = read_toml(path)
    top = _Table(toml, (), toml.values)
    if top.value("form", "a sidecar of form 1") != SIDECAR_FORM:
        raise top.wrong("form", f"isn't {SIDECAR_FORM}", _AGAIN)
    kind = top.text("kind", re.compile("|".join(KINDS)), " or ".join(KINDS))
    inner = top.value(kind, f"a table [{kind}]")
    if not isinstance(inner, dict):
        raise top.wrong(kind, "isn't a table", f"write its keys below [{kind}]")
    table = _Table(toml, (kind,), inner)
    facts = StimulusFacts(
        file=top.text("file", _NAME, "the name of the sound file"),
        sha256=top.text("sha256", _DIGEST, "64 digits of a SHA-256"),
        sample_rate_hz=top.whole("sample_rate_hz", (8_000, 768_000)),
        samples=top.whole("samples", (1, 2**31)),
        lead_s=top.number("lead_s", _S),
        tail_s=top.number("tail_s", _S),
        level_dbfs=top.number("level_dbfs", _DB),
        peak_dbfs=top.number("peak_dbfs", (_DB[0], 0.0)),
        rms_dbfs=top.number("rms_dbfs", _DB),
        crest_factor_db=top.number("crest_factor_db", _DB),
        drive_v=top.perhaps("drive_v", _VOLTS),
        full_scale_v=top.perhaps("full_scale_v", _VOLTS),
        signal=_SIGNALS[kind](table),
    )
    top.refuse_unknown((*_names(StimulusFacts, leave="signal"), "form", "kind", kind))
    table.refuse_unknown(_names(KINDS[kind]))
    _refuse_contradictions(top, table, facts)
    return facts


@dataclass(frozen=True, slots=True)
class _Table:
    """A table of the file: its values, and refusals that name their place."""

    toml: TomlText
    place: Place
    values: Mapping[str, Any]

    def wrong(self, key: str, problem: str, remedy: str) -> CaseError:
        return self.toml.refuse((*self.place, key), problem, remedy)

    def value(self, key: str, wanted: str) -> Any:
        if key not in self.values:
            raise self.wrong(key, f"is missing: {wanted}", _AGAIN)
        return self.values[key]

    def text(self, key: str, pattern: re.Pattern[str], wanted: str) -> str:
        value = self.value(key, wanted)
        if not isinstance(value, str) or not pattern.fullmatch(value):
            raise self.wrong(key, f"isn't {wanted}", _AGAIN)
        return value

    def number(self, key: str, limits: tuple[float, float]) -> float:
        return self.checked(key, self.value(key, "a number"), limits)

    def perhaps(self, key: str, limits: tuple[float, float]) -> float | None:
        return self.number(key, limits) if key in self.values else None

    def whole(self, key: str, limits: tuple[int, int]) -> int:
        value = self.value(key, "a whole number")
        if not isinstance(value, int):
            raise self.wrong(key, "isn't a whole number", _AGAIN)
        return int(self.checked(key, value, limits))

    def numbers(self, key: str, limits: tuple[float, float], most: int) -> tuple[float, ...]:
        values = self.value(key, "a list of numbers")
        if not isinstance(values, list) or not 1 <= len(values) <= most:
            raise self.wrong(key, f"isn't a list of 1 to {most} numbers", _AGAIN)
        found = tuple(self.checked(key, value, limits) for value in values)
        if any(a >= b for a, b in pairwise(found)):
            raise self.wrong(key, "doesn't rise", _AGAIN)
        return found

    def checked(self, key: str, value: object, limits: tuple[float, float]) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(key, "isn't a number", _AGAIN)
        if not limits[0] <= value <= limits[1]:
            raise self.wrong(key, f"isn't from {limits[0]:g} to {limits[1]:g}".replace("-", "−"), _AGAIN)
        return float(value)

    def refuse_unknown(self, allowed: Sequence[str]) -> None:
        for key in self.values:
            if key not in allowed:
                near = get_close_matches(key, allowed, n=1)
                remedy = f"did you mean {near[0]}?" if near else f"the keys here are {', '.join(allowed)}"
                raise self.wrong(key, "is no key of a sidecar", remedy)


def _sweep(table: _Table) -> Signal:
    return SweepSignal(
        first_hz=table.number("first_hz", _HZ),
        last_hz=table.number("last_hz", _HZ),
        rate_s=table.number("rate_s", (1e-4, _S[1])),
        length_s=table.number("length_s", _S),
        fade_in_s=table.number("fade_in_s", _S),
        fade_out_s=table.number("fade_out_s", _S),
        shelf_db=table.number("shelf_db", _DB),
        shelf_hz=table.number("shelf_hz", _HZ),
        tilt_db_per_octave=table.number("tilt_db_per_octave", _DB),
    )


def _multitone(table: _Table) -> Signal:
    return MultitoneSignal(
        tones_hz=table.numbers("tones_hz", _HZ, MOST_TONES),
        period_s=table.number("period_s", _S),
        length_s=table.number("length_s", _S),
        seed=table.whole("seed", _SEEDS),
        lowest_db=table.perhaps("lowest_db", _DB) or 0.0,
    )


def _noise(table: _Table) -> Signal:
    return NoiseSignal(
        colour="pink"
        if table.text("colour", re.compile("pink|white"), "pink or white") == "pink"
        else "white",
        first_hz=table.number("first_hz", _HZ),
        last_hz=table.number("last_hz", _HZ),
        length_s=table.number("length_s", _S),
        seed=table.whole("seed", _SEEDS),
    )


def _run(table: _Table) -> Signal:
    return RunSignal(
        first_hz=table.number("first_hz", _HZ),
        last_hz=table.number("last_hz", _HZ),
        load_s=table.whole("load_s", (1, int(_S[1]))),
        rest_s=table.whole("rest_s", (0, int(_S[1]))),
        probe_db=table.number("probe_db", (_DB[0], 0.0)),
        length_s=table.number("length_s", _S),
        seed=table.whole("seed", _SEEDS),
    )


_SIGNALS: Final = {"sweep": _sweep, "multitone": _multitone, "noise": _noise, "endurance": _run}


def _refuse_contradictions(top: _Table, table: _Table, facts: StimulusFacts) -> None:
    """What no single value can tell: bands that fall, lengths that don't follow from the rest."""
    signal, half = facts.signal, facts.sample_rate_hz / 2.0
    highest = signal.tones_hz[-1] if isinstance(signal, MultitoneSignal) else signal.last_hz
    if highest > half:
        key = "tones_hz" if isinstance(signal, MultitoneSignal) else "last_hz"
        raise table.wrong(key, f"is above half the sample rate, {half:g} Hz", _AGAIN)
    if not isinstance(signal, MultitoneSignal) and signal.first_hz >= signal.last_hz:
        raise table.wrong("last_hz", "isn't above first_hz", _AGAIN)
    if isinstance(signal, SweepSignal):
        _refuse_impossible_sweep(table, signal)
        if abs(facts.peak_dbfs - facts.level_dbfs) > _PEAK_DB:
            level = f"{facts.level_dbfs:g}".replace("-", "−")
            raise top.wrong("peak_dbfs", f"isn't the {level} dB of its level", _AGAIN)
    whole_s = facts.lead_s + signal.length_s + facts.tail_s
    if abs(whole_s - facts.length_s) > 2.0 / facts.sample_rate_hz:
        problem = f"are {facts.length_s:g} s, and lead, signal and tail are {whole_s:g} s"
        raise top.wrong("samples", problem, _AGAIN)
    if (facts.drive_v is None) != (facts.full_scale_v is None):
        key = "full_scale_v" if facts.full_scale_v is None else "drive_v"
        raise top.wrong(key, "is missing: drive_v and full_scale_v go together", _AGAIN)
    if facts.drive_v and facts.full_scale_v:
        follows = facts.full_scale_v * 10.0 ** (facts.level_dbfs / 20.0)
        if not math.isclose(follows, facts.drive_v, rel_tol=_SAME):
            problem = f"isn't the {follows:g} V that full_scale_v and level_dbfs give"
            raise top.wrong("drive_v", problem, _AGAIN)


def _refuse_impossible_sweep(table: _Table, sweep: SweepSignal) -> None:
    cycles = sweep.first_hz * sweep.rate_s
    if round(cycles) < 1 or abs(cycles - round(cycles)) > _SAME * max(1.0, cycles):
        raise table.wrong("rate_s", f"times first_hz is {cycles:g}, and no whole number", _AGAIN)
    follows = sweep.rate_s * math.log(sweep.last_hz / sweep.first_hz)
    if not math.isclose(follows, sweep.length_s, rel_tol=_SAME):
        problem = f"isn't the {follows:g} s that rate_s and the band give"
        raise table.wrong("length_s", problem, _AGAIN)
    if sweep.fade_in_s + sweep.fade_out_s > 0.5 * sweep.length_s:
        raise table.wrong("fade_in_s", "and fade_out_s take over half of the sweep", _AGAIN)


def _fields(record: Any, leave: str = "") -> dict[str, Any]:
    return {name: getattr(record, name) for name in _names(type(record), leave)}


def _names(record: Any, leave: str = "") -> tuple[str, ...]:
    return tuple(name for name in record.__dataclass_fields__ if name != leave)


def _stated(values: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_toml(value)}" for key, value in values.items() if value is not None]


def _toml(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(one) for one in value)}]"
    if isinstance(value, float):
        return format_number(float(f"{value:.9g}"))
    return tomlkit.item(value).as_string()
