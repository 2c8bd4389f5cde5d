"""A hard contact in the workshop is heard as a rub; soft motors, streaming air, noise and hum are not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_rattles import PLAYED, Drawn, scenario_of, told, truth_db
from made_runs import RATE_HZ

from earwitness.derive.rattle_figures import rattle_figures, seen, strongest
from earwitness.measurement.rattling import rattled
from earwitness.records.figures import Quantity
from earwitness.records.takes import ON_AXIS, Drive, Take, TakeId, TakeKey, TakeKind
from earwitness.records.tones import NoiseFrom, Rattle

SOFT = Drawn(8.0, None, 0.0, 1.0, 42.0, 0.0008, 0.0, 50)
RUBS = replace(SOFT, contact_m=0.0045, contact_stiffness=3000.0)


def test_a_hard_contact_is_seen_from_the_drive_at_which_it_touches(tmp_path: Path) -> None:
    """The coil moves by more than 4.5 mm at 8 V and by 2 mm at 3 V, below 30 Hz."""
    scenario = scenario_of(RUBS)
    found = told(scenario, tmp_path, (3.0, 8.0))
    (figure,) = rattle_figures(found)
    assert isinstance(figure.value, Quantity)
    assert figure.also["from a drive of"] == 8.0
    assert figure.evidence.takes == ("horizontal_+000_8V.wav",)
    # against steady tones, each solved as a period by itself: they change by some dB within a third octave
    assert figure.value.value == pytest.approx(22.4, abs=0.1)
    truth = truth_db(scenario, 8.0, (22, 36))
    assert truth[1] < truth[0] - 6.0
    assert figure.also["there re the whole sound, dB"] == pytest.approx(truth[0], abs=3.0)
    assert truth_db(scenario, 3.0, (22,))[0] < -100.0


@pytest.mark.parametrize("drive_v", [3.0, 16.0])
def test_soft_motors_and_streaming_air_are_no_rattle(tmp_path: Path, drive_v: float) -> None:
    assert rattle_figures(told(scenario_of(SOFT), tmp_path, (drive_v,))) == ()


def test_hum_is_no_rattle(tmp_path: Path) -> None:
    """50 Hz and 150 Hz at 57 dB each."""
    assert rattle_figures(told(scenario_of(SOFT), tmp_path, (4.0,), hum=(0.014, 50))) == ()


def test_a_buzz_that_sounds_without_a_sweep_is_no_rattle(tmp_path: Path) -> None:
    """600 Hz of a transformer: above the tenth order of low notes, where some shift suits each period."""
    told(scenario_of(SOFT), tmp_path, (4.0,))
    name = "horizontal_+000_4V.wav"
    samples, _ = soundfile.read(tmp_path / name)

    def buzz(count: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.asarray(0.002 * np.sin(2.0 * np.pi * 600.0 / RATE_HZ * np.arange(count)))

    soundfile.write(tmp_path / name, samples + buzz(samples.size), RATE_HZ, subtype="PCM_24")
    take = Take(name, TakeKey(TakeKind.SWEEP, ON_AXIS, Drive(4.0)), stimulus="stimulus.wav")
    (alone,) = rattled(tmp_path, [take], PLAYED)
    assert alone.noise_from is NoiseFrom.END
    # it would pass for a rattle if nobody listened after the sweep
    assert strongest(replace(alone, noise_db=None)) is not None
    assert rattle_figures([alone]) == ()
    rng = np.random.default_rng(1)
    quiet = buzz(3 * RATE_HZ) + 1e-5 * rng.normal(size=3 * RATE_HZ)
    soundfile.write(tmp_path / "noise.wav", quiet, RATE_HZ, subtype="PCM_24")
    (held,) = rattled(tmp_path, [take, Take("noise.wav", TakeKey(TakeKind.NOISE))], PLAYED)
    assert held.noise_from is NoiseFrom.SILENCE
    assert rattle_figures([held]) == ()


SEEN = Rattle(TakeId("a.wav"), Drive(4.0), (30.0,), (0.9,), (-24.5,), (-25.0,))


def test_what_is_gone_at_a_greater_drive_is_no_rattle() -> None:
    gone = replace(SEEN, drive=Drive(8.0), part_db=(-60.0,))
    assert rattle_figures((SEEN, gone)) == ()
    assert len(rattle_figures((SEEN, replace(gone, part_db=(-25.0,))))) == 1


def test_it_is_alike_strong_and_over_the_noise() -> None:
    assert seen(SEEN) == (True,)
    assert seen(replace(SEEN, alike=(0.59,))) == (False,)
    assert seen(replace(SEEN, part_db=(-38.1,))) == (False,)
    assert seen(replace(SEEN, noise_db=(-27.0,))) == (False,)
    assert seen(replace(SEEN, noise_db=(-28.0,))) == (True,)
