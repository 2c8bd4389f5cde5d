"""Whether a recording holds its sweep at the pace at which it was played.

A sweep that was recorded at another pace, since a header's sample rate is wrong or another sweep was played,
leaves an impulse response in which each frequency arrives s·ln f later: s is the difference of both sweeps'
rates L. Taking that off gives an impulse again. Reflections, however strong, come at times of their own that
are the same at all frequencies, so that taking it off only spreads them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float32s = npt.NDArray[np.float32]
Float64s = npt.NDArray[np.float64]

#: Paces that are tried, re the stimulus' own: from half to double, as between 44.1 and 88.2 kHz.
PACES: Final = (0.45, 2.2)
#: Sample rates in kHz whose ratios are tried exactly, however long the sweep is.
USUAL_RATES_KHZ: Final = (44.1, 48.0, 88.2, 96.0)
#: No more values in all than so many are worked out, and so many at once: very long sweeps are tried in
#: coarser steps.
MOST_VALUES: Final = 2**24
VALUES_AT_ONCE: Final = 2**19
#: Another pace is told where it gathers the response so much more than its own does. What is only dense
#: reflections isn't gathered so by chance (tested); a sweep of 1.5 s recorded at 44.1 kHz under a header of
#: 48 kHz, with three reflections of a cabinet's rear beside it, is.
GATHERED: Final = 2.5


def told_pace(
    response: Float32s, sample_rate_hz: float, rate_s: float, band_hz: tuple[float, float]
) -> float | None:
    """The pace of the sweep that a response (n,) holds, re its stimulus'; None where it is the stimulus' own.

    2.0 is a sweep that takes twice as long. `rate_s` is the stimulus' L and `band_hz` where it is examined;
    the whole circular response is wanted. Sound that was recorded at 44.1 kHz under a header of 48 kHz has
    44.1/48 = 0.919.
    """
    spectrum = scipy.fft.rfft(response, workers=1)
    first, stop = (round(edge * response.size / sample_rate_hz) for edge in band_hz)
    some = spectrum[first:stop]
    frequency = np.arange(first, stop) * (sample_rate_hz / response.size)
    width_s = 1.0 / ((band_hz[1] - band_hz[0]) * np.log(band_hz[1] / band_hz[0]))
    low, high = ((pace - 1.0) * rate_s for pace in PACES)
    tried = min(MOST_VALUES // some.size, int(np.ceil((high - low) / width_s)))
    slopes = np.concatenate([np.linspace(low, high, tried + 1), (_usual_paces() - 1.0) * rate_s])
    # the phase of a delay of ln(f/f0), whose integral over f it is, in turns
    turns = -frequency * (np.log(frequency / band_hz[0]) - 1.0)
    own = float(_greatest(some[None])[0])
    at_once = max(1, VALUES_AT_ONCE // some.size)
    gathered = np.concatenate(
        [
            _greatest(some * _turned_back(np.outer(slopes[k : k + at_once], turns)))
            for k in range(0, slopes.size, at_once)
        ]
    )
    best = int(np.argmax(gathered))
    if gathered[best] < GATHERED * own:
        return None
    return 1.0 + float(slopes[best]) / rate_s


def _turned_back(turns: Float64s) -> npt.NDArray[np.complex64]:
    """exp(−2πj·turns): whole turns off in double precision, the rest in single, which is fast."""
    rest = (-2.0 * np.pi * (turns - np.rint(turns))).astype(np.float32)
    found = np.empty(rest.shape, dtype=np.complex64)
    np.cos(rest, out=found.real)
    np.sin(rest, out=found.imag)
    return found


def _usual_paces() -> Float64s:
    """Ratios of two different usual sample rates, within `PACES`."""
    rates = np.array(USUAL_RATES_KHZ)
    ratios = np.unique(rates[:, None] / rates)
    return np.asarray(ratios[(ratios != 1.0) & (ratios > PACES[0]) & (ratios < PACES[1])])


def _greatest(spectra: npt.NDArray[np.complex64]) -> Float64s:
    """The greatest power in time of spectra (..., K)."""
    return np.asarray(np.max(np.abs(scipy.fft.ifft(spectra, axis=-1, workers=1)), axis=-1) ** 2, dtype=float)
