"""What a recording tells of itself: its peak, and hum, against closed forms."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.measurement.heard import HEARD_VALUES, MULTIPLES, Heard, heard_in, hum_in
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.errors import IntegrityError

RATE = 48_000


def noise(seed: int, seconds: float = 1.0, rms: float = 1e-4) -> npt.NDArray[np.float32]:
    drawn = np.random.default_rng(seed).standard_normal(round(seconds * RATE))
    return np.asarray(rms * drawn, dtype=np.float32)


def tone(hz: float, rms: float) -> npt.NDArray[np.float32]:
    return np.asarray(rms * np.sqrt(2.0) * np.sin(2.0 * np.pi * hz / RATE * np.arange(RATE)), np.float32)


@pytest.mark.parametrize(
    ("hz", "mains"), [(50.0, 50.0), (100.0, 50.0), (60.0, 60.0), (180.0, 60.0), (550.0, 50.0)]
)
def test_a_line_has_its_own_level(hz: float, mains: float) -> None:
    found = hum_in([heard_in(noise(1) + tone(hz, 1e-3), RATE, 0.0)])
    assert found is not None
    assert (found.at_hz, found.mains_hz) == (hz, mains)
    # the noise inside the line adds 0.2 %
    assert found.level == pytest.approx(1e-3, rel=0.01)


def test_a_mains_frequency_that_wanders_is_still_seen() -> None:
    """Grids keep to ± 0.2 Hz as a rule; the twelfth multiple moves by 2.4 Hz."""
    found = hum_in([heard_in(noise(1) + tone(600.0 + 2.0, 1e-3), RATE, 0.0)])
    assert found is not None
    assert found.at_hz == 600.0
    assert found.over_db > 20.0


def test_what_lies_between_the_lines_is_no_hum() -> None:
    found = hum_in([heard_in(noise(1) + tone(75.0, 1e-3), RATE, 0.0)])
    assert found is not None
    assert found.over_db < 12.0


def test_noise_alone_stays_under_the_limit() -> None:
    over = [hum_in([heard_in(noise(seed, 0.7), RATE, 0.0)]) for seed in range(400)]
    assert max(o.over_db for o in over if o is not None) < 12.0


def test_pink_noise_alone_stays_under_the_limit() -> None:
    spectrum = np.fft.rfft(noise(0, 8.0)) / np.sqrt(np.maximum(np.arange(4 * RATE + 1), 80))
    pink = np.fft.irfft(spectrum).astype(np.float32)
    found = hum_in([heard_in(pink, RATE, 0.0)])
    assert found is not None
    assert found.over_db < 12.0


def test_a_mean_of_many_sees_what_one_does_not() -> None:
    quiet = [heard_in(noise(seed) + tone(100.0, 1.2e-5), RATE, 0.0) for seed in range(60)]
    found = hum_in(quiet)
    assert found is not None
    assert found.recordings == 60
    assert found.at_hz == 100.0
    assert found.level == pytest.approx(1.2e-5, rel=0.1)  # its uncertainty by noise


def test_nothing_is_told_while_the_sweep_still_holds_bass() -> None:
    told = heard_in(noise(1), RATE, 0.9)
    assert np.isnan(told.line).all()
    assert hum_in([told]) is None
    assert hum_in([heard_in(noise(1), RATE, None)]) is None


def test_the_peak_is_that_of_either_sign() -> None:
    samples = noise(1)
    samples[100], samples[200] = 0.25, -0.5
    assert heard_in(samples, RATE, None).peak == 0.5


@given(st.lists(st.floats(0.0, 1.0, width=32), min_size=HEARD_VALUES, max_size=HEARD_VALUES))
def test_it_comes_back_as_it_was(values: list[float]) -> None:
    told = Heard.from_array(values)
    assert told.line.shape == told.floor.shape == (2, MULTIPLES)
    assert told.to_array().tolist() == values
    response = ImpulseResponse(np.ones(3, np.float32), 48e3, 0.1, np.zeros(2, np.float32), (20.0, 2e4), told)
    back = ImpulseResponse.from_bytes(response.to_bytes())
    assert back.heard is not None
    assert back.heard.to_array().tolist() == values
    assert back.samples.tolist() == [1.0, 1.0, 1.0]
    assert back.noise.tolist() == [0.0, 0.0]


def test_what_is_kept_is_what_was_heard() -> None:
    told = heard_in(noise(1), RATE, 0.0)
    kept = Heard.from_array(told.to_array())
    assert kept.peak == told.peak
    assert kept.line.tolist() == told.line.tolist()
    assert kept.floor.tolist() == told.floor.tolist()


def test_a_kept_response_that_lost_bytes_is_refused() -> None:
    told = heard_in(noise(1), RATE, 0.0)
    response = ImpulseResponse(np.ones(3, np.float32), 48e3, 0.1, np.zeros(2, np.float32), (20.0, 2e4), told)
    with pytest.raises(IntegrityError, match="build again"):
        ImpulseResponse.from_bytes(response.to_bytes()[:-4])
