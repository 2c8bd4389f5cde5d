"""Rubs in the virtual workshop: drawn loudspeakers with a hard contact or none, swept at one drive.

Ladle at 8 kHz, its coils kept cold. What is true comes of steady tones, each a period by itself, no noise.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import soundfile
from made_runs import RATE_HZ, rig_text
from made_tones import responses

from earwitness.measurement.rattling import rattled
from earwitness.records.takes import ON_AXIS, Drive, Take, TakeKey, TakeKind
from earwitness.records.tones import Rattle
from earwitness.virtual.playing import Playing
from earwitness.virtual.scenario import FOLDER, Scenario, from_text

Floats = npt.NDArray[np.float64]

PLAYED: Final = {"stimulus.wav": Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))}
#: Tones near the middles of third octaves from 20 Hz up, and the order above which all counts.
TONES_HZ: Final = (22, 28, 36, 45, 57, 71, 90, 113, 143, 180)
ABOVE: Final = 10


@dataclass(frozen=True)
class Drawn:
    """A loudspeaker as it is drawn: no contact where it has none; hum in Pa at the microphone."""

    drive_v: float
    contact_m: float | None
    contact_stiffness: float
    softness: float
    port_noise_db: float
    ambient_pa: float
    hum_pa: float
    hum_hz: int


def drawn(seed: int) -> Drawn:
    """Half of them have a contact, half of the others a hum."""
    random = np.random.default_rng([6113, seed])

    def log(low: float, high: float) -> float:
        return float(np.exp(random.uniform(np.log(low), np.log(high))))

    rubs, hums = random.random(2) < 0.5
    side = float(random.choice([-1.0, 1.0]))
    return Drawn(
        drive_v=log(2.0, 14.0),
        contact_m=side * log(0.0015, 0.006) if rubs else None,
        contact_stiffness=log(500.0, 6000.0),
        softness=log(0.7, 1.5),
        port_noise_db=float(random.uniform(30.0, 55.0)),
        ambient_pa=log(0.0003, 0.003),
        hum_pa=log(0.0003, 0.02) if hums else 0.0,
        hum_hz=int(random.choice([50, 60])),
    )


def scenario_of(one: Drawn) -> Scenario:
    """Ladle in the hall, as it was drawn."""
    text = (FOLDER / "ladle.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[enclosures\.drive_units\.heating\]\n(?:[^\[\n]+\n)+", "", text)
    text = text.replace("force_half_m = 0.0088", f"force_half_m = {0.0088 * one.softness}")
    text = text.replace("stiffness_double_m = 0.0072", f"stiffness_double_m = {0.0072 * one.softness}")
    text = text.replace("level_db = 42.0", f"level_db = {one.port_noise_db}")
    if one.contact_m is not None:
        table = "[enclosures.drive_units.large_signal]\n"
        facts = f"contact_m = {one.contact_m}\ncontact_stiffness = {one.contact_stiffness}\n"
        text = text.replace(table, table + facts, 1)
    return from_text("ladle", text, rig_text(one.ambient_pa))


def told(
    scenario: Scenario,
    folder: Path,
    drives_v: tuple[float, ...],
    *,
    hum: tuple[float, int] = (0.0, 50),
    seconds: float = 8.0,
    seed: int = 3,
) -> tuple[Rattle, ...]:
    """Of sweeps on axis, recorded with the hall's noise, the port's, and a hum (Pa, Hz) with its third."""
    session = scenario.session
    player = session.player
    assert player is not None
    sweep = replace(session.sweep, wanted_s=seconds)
    samples = sweep.samples()
    count = samples.size + RATE_HZ
    playing = Playing(player, samples, sweep.peak, count, 0.0)
    soundfile.write(folder / "stimulus.wav", samples, RATE_HZ, subtype="PCM_24")
    turn = 2.0 * np.pi * hum[1] * np.arange(count) / RATE_HZ
    hums = np.sqrt(2.0) * hum[0] / session.workshop.chain.full_scale_pa * (np.sin(turn) + np.sin(3.0 * turn))
    takes = []
    for number, drive in enumerate(drives_v):
        moved = playing.at(drive)
        streaming = player.port_noise(moved, np.random.default_rng([seed, number]))
        heard = playing.heard(moved.volume_velocity + streaming, responses(scenario))
        noise = session.workshop.noise.samples(np.random.default_rng([seed + 1, number]), count, RATE_HZ)
        name = f"horizontal_+000_{drive:g}V.wav"
        soundfile.write(folder / name, heard + noise + hums, RATE_HZ, subtype="PCM_24")
        takes.append(Take(name, TakeKey(TakeKind.SWEEP, ON_AXIS, Drive(drive)), stimulus="stimulus.wav"))
    return rattled(folder, takes, PLAYED)


def truth_db(scenario: Scenario, drive_v: float, tones_hz: tuple[int, ...] = TONES_HZ) -> Floats:
    """At each of some tones: what lies above the tenth order re the whole sound, dB, of a steady tone."""
    player = scenario.session.player
    assert player is not None
    heard = responses(scenario)
    folded = np.pad(heard, ((0, 0), (0, -heard.shape[1] % RATE_HZ)))
    through = np.fft.rfft(folded.reshape(len(heard), -1, RATE_HZ).sum(axis=1))
    turn = 2.0 * np.pi * np.arange(RATE_HZ) / RATE_HZ
    found = []
    for hertz in tones_hz:
        moved = player.play(np.sqrt(2.0) * drive_v * np.sin(hertz * turn))
        power = np.abs(np.einsum("cf,cf->f", moved.volume_velocity, through)) ** 2
        found.append(power[hertz * (ABOVE + 1) :: hertz].sum() / power[hertz::hertz].sum())
    return np.asarray(10.0 * np.log10(np.maximum(found, 1e-12)))
