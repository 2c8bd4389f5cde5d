"""Runs in the virtual workshop: drawn loudspeakers with heat, limiters and motion, and what is true of them.

At 8 kHz a run is quick to play, and its physics is the same. Ladle's woofer is drawn anew: its coil's thermal
constants, what its motion changes, the drive, and a limiter before it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.endurance import noise_second, seconds_of
from earwitness.virtual.electronics import PLAIN
from earwitness.virtual.endurance import Endurance, Endured
from earwitness.virtual.scenario import FOLDER, RIGS, Scenario, from_text

Floats = npt.NDArray[np.float64]

RATE_HZ: Final = 8000
PROBE: Final = 0.1
BAND_HZ: Final = (40.0, 3000.0)
#: In some octave: what acts changes its level by so much, and what doesn't by no more than that, dB.
THERE_DB, NOT_THERE_DB = 0.5, 0.1
_RIG: Final = {"sample_rate_hz = 48000": "sample_rate_hz = 8000", "edge_hz = 22200.0": "edge_hz = 3600.0"}


@dataclass(frozen=True)
class Drawn:
    """A loudspeaker as it is drawn: None where something isn't there."""

    drive_v: float
    coil_k_per_w: float | None
    coil_s: float
    magnet_k_per_w: float
    magnet_s: float
    softness: float
    threshold_v: float | None
    knee_db: float
    attack_s: float
    release_s: float
    ratio: float
    ambient_pa: float


def drawn(seed: int) -> Drawn:
    """Half of them have heat, half a limiter, each by itself."""
    random = np.random.default_rng([7019, seed])

    def log(low: float, high: float) -> float:
        return float(np.exp(random.uniform(np.log(low), np.log(high))))

    warm, limited = random.random(2) < 0.5
    drive = log(8.0, 18.0)
    return Drawn(
        drive_v=drive,
        coil_k_per_w=log(2.5, 9.0) if warm else None,
        coil_s=log(2.5, 12.0),
        magnet_k_per_w=log(0.6, 3.0),
        magnet_s=log(200.0, 1200.0),
        softness=log(0.7, 1.5),
        threshold_v=drive * log(0.8, 2.6) if limited else None,
        knee_db=float(random.uniform(0.0, 8.0)),
        attack_s=log(0.0005, 0.02),
        release_s=log(0.03, 1.0),
        ratio=log(3.0, 100.0),
        ambient_pa=log(0.0003, 0.003),
    )


def scenario_of(one: Drawn) -> Scenario:
    """Ladle in the hall, as it was drawn."""
    text = (FOLDER / "ladle.toml").read_text(encoding="utf-8")
    heating = re.search(r"\[enclosures\.drive_units\.heating\]\n(?:[^\[\n]+\n)+", text)
    assert heating is not None
    table = ""
    if one.coil_k_per_w is not None:
        table = (
            "[enclosures.drive_units.heating]\n"
            f"coil_k_per_w = {one.coil_k_per_w}\ncoil_s = {one.coil_s}\n"
            f"magnet_k_per_w = {one.magnet_k_per_w}\nmagnet_s = {one.magnet_s}\n"
        )
    text = text.replace(heating.group(), table)
    text = text.replace("force_half_m = 0.0088", f"force_half_m = {0.0088 * one.softness}")
    text = text.replace("stiffness_double_m = 0.0072", f"stiffness_double_m = {0.0072 * one.softness}")
    if one.threshold_v is not None:
        limiter = (
            f"[limiter]\nthreshold_v = {one.threshold_v}\nknee_db = {one.knee_db}\n"
            f"attack_s = {one.attack_s}\nrelease_s = {one.release_s}\nratio = {one.ratio}\n\n"
        )
        text = text.replace("[cabinet]", limiter + "[cabinet]", 1)
    return from_text("ladle", text, rig_text(one.ambient_pa))


def rig_text(ambient_pa: float = 0.0008) -> str:
    """The hall at 8 kHz."""
    text = (RIGS / "hall.toml").read_text(encoding="utf-8")
    for old, new in _RIG.items():
        text = text.replace(old, new)
    text = text.replace("last_hz = 22000.0", "last_hz = 3500.0")
    return text.replace("ambient_pa = 0.0008", f"ambient_pa = {ambient_pa}")


@dataclass(frozen=True)
class Run:
    """A run as it was recorded (N,), what was played (N,), and the workshop's own account of it."""

    recording: Floats
    stimulus: Floats
    endured: Endured
    scenario: Scenario
    drive_v: float


def run_of(scenario: Scenario, drive_v: float, load_s: int, rest_s: int, seed: int = 1) -> Run:
    """A run recorded on axis, its loopback left out."""
    second = noise_second(RATE_HZ, BAND_HZ, seed)
    gains = np.array([0.0, PROBE, 1.0])[seconds_of(load_s, rest_s)]
    player = scenario.session.player
    assert player is not None
    endured = Endurance(player, drive_v * second, _responses(scenario)).run(gains.tolist())
    noise = scenario.session.workshop.noise.samples(
        np.random.default_rng([seed, 5]), endured.recording.size, RATE_HZ
    )
    stimulus = 0.2 * np.multiply.outer(gains, second).ravel()
    return Run(endured.recording + noise, stimulus, endured, scenario, drive_v)


def _responses(scenario: Scenario) -> Floats:
    session = scenario.session
    view = session._turned(session.turns[0])
    return np.asarray(session.workshop.radiated_responses(view)[0])


def truth_db(run: Run) -> dict[str, float]:
    """The largest change of an octave's level by heat, and by a limiter, at the load's end, dB.

    Each is counterfactual: a probe with coils as warm as they were against one with cold coils, and the
    load's own voltage behind the limiter against that before it.
    """
    player = run.scenario.session.player
    assert player is not None
    second = noise_second(RATE_HZ, BAND_HZ, 1) * run.drive_v
    pair = np.tile(PROBE * second, 2)
    plain = replace(player, electronics=PLAIN)
    last = int(np.flatnonzero(np.abs(run.stimulus).reshape(-1, RATE_HZ).max(axis=1) > 0.3)[-1])
    rises = [tuple(rise) for rise in run.endured.rises[last]]
    heard = _responses(run.scenario)[:, :RATE_HZ]
    cold, warm = (
        _octaves(np.einsum("cf,cf->f", played.volume_velocity, np.fft.rfft(heard, pair.size)))
        for played in (plain.play(pair), plain.play(pair, rises))
    )
    limiter = player.electronics.limiter
    held = 0.0
    if limiter is not None:
        load = np.tile(second, 4)
        out = limiter.held(load, RATE_HZ)[-RATE_HZ:]
        held = float(np.max(np.abs(_octaves(np.fft.rfft(out)) - _octaves(np.fft.rfft(second)))))
    return {"heat": float(np.max(np.abs(warm - cold))), "limiter": held}


def _octaves(spectrum: npt.NDArray[np.complex128]) -> Floats:
    """Levels of octaves from 63 Hz to 2 kHz, dB."""
    lines = np.linspace(0.0, RATE_HZ / 2.0, spectrum.size)
    middles = 1000.0 * 2.0 ** np.arange(-4.0, 2.0)
    power = np.abs(spectrum) ** 2
    inside = [(lines >= f / 2**0.5) & (lines < f * 2**0.5) for f in middles]
    return np.array([10.0 * np.log10(power[one].sum()) for one in inside])
