"""From recordings of a sweep, and impulse responses that came as files, to impulse responses of one form."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import noise, sweeps
from earwitness.measurement.answers import (
    Answer,
    Stimulus,
    answer_in,
    read_answers,
    read_stimulus,
    stimuli_of,
)
from earwitness.measurement.given_impulse import is_given, read_given
from earwitness.measurement.heard import PASSED_HZ, Heard, heard_in
from earwitness.measurement.holding import held_band_hz, require_own_pace, require_prominent
from earwitness.measurement.impulse_response import (
    Float32s,
    ImpulseResponse,
    drive_of,
    drive_units,
    kept_before,
    kept_samples,
    noise_samples,
)
from earwitness.measurement.order_responses import orders_in, tells_orders
from earwitness.measurement.silence import Silence, silence
from earwitness.records.errors import ReadError
from earwitness.records.takes import Drive, Take, TakeKind

#: Kinds that come as sound and become impulse responses.
RECORDED: Final = frozenset(
    {TakeKind.SWEEP, TakeKind.NEAR_FIELD, TakeKind.IMPULSE_RESPONSE, TakeKind.REFERENCE, TakeKind.SURFACE}
)
#: Recordings that are transformed together: so many, and no more samples than this.
BLOCK: Final = 4
BLOCK_SAMPLES: Final = 2**23
#: Noise is taken from a stretch that ends so many periods of the band's lower edge before the peak, since
#: that edge rings before the arrival too, and is at most so long. Where harmonics come sooner, gap and
#: stretch keep to these parts of the time between the second harmonic and the peak.
NOISE_GAP_PERIODS: Final = 6.0
NOISE_GAP_PART: Final = 0.35
NOISE_PART: Final = 0.5
#: Recordings that are in memory together, by their files' size; at least one is.
BLOCK_BYTES: Final = 2**26

#: Blocks that are worked on at once.
AT_ONCE: Final = 2

#: Noise of the recording of silence stands for a sweep's where the two agree to this, dB, in the median of
#: these third octaves.
AGREE_DB: Final = 3.0
HELD_AT_HZ: Final = 1000.0 * 2.0 ** (np.arange(-12, 13) / 3.0)


@dataclass(frozen=True)
class _Prepared:
    """For transforms of one length: a stimulus' inverse, and the silence through it (n,), None without."""

    inverse: npt.NDArray[np.complex64]
    quiet: Float32s | None


Inverses = dict[int, _Prepared]


def deconvolve(
    raw: Path, takes: Sequence[Take], stimuli: Mapping[str, Take] | None = None
) -> Iterator[tuple[Take, ImpulseResponse]]:
    """Impulse responses of the takes of `RECORDED` kinds among `takes`, block by block.

    Takes that share a stimulus and a length go through together, four at a time; the result of a take
    doesn't depend on its neighbours. Each file is read once, whatever number of takes it holds. Takes of
    other kinds are passed over, but a recording of silence, which is as good as a sweep's own noise where it
    agrees with that, and longer.

    Parameters
    ----------
    raw
        The folder that the takes' paths are relative to.
    stimuli
        The takes of the stimuli by path (`stimuli_of`), where `takes` don't hold these themselves.

    Raises
    ------
    ReadError
        A recording or stimulus can't be read or isn't a sweep, their sample rates differ, or a recording or
        its loopback doesn't hold the stimulus.
    """
    recorded = sorted((t for t in takes if t.key.kind in RECORDED), key=lambda t: t.id)
    by_stimulus: dict[str, list[Take]] = {}
    for take in recorded:
        if is_given(take):
            yield take, read_given(raw, take)
        elif take.stimulus is None:
            raise ReadError(take.path, "has no stimulus stated", "name it in takes.toml")
        else:
            by_stimulus.setdefault(take.stimulus, []).append(take)
    stimuli = stimuli_of(takes) if stimuli is None else stimuli
    for path, group in by_stimulus.items():
        stimulus = read_stimulus(raw, stimuli[path])
        quiet = silence(raw, takes, stimulus.sample_rate_hz)
        yield from _deconvolve_ahead(raw, _blocks(raw, group), stimulus, quiet)


def _deconvolve_ahead(
    raw: Path, blocks: Iterable[Sequence[Take]], stimulus: Stimulus, quiet: Silence | None
) -> Iterator[tuple[Take, ImpulseResponse]]:
    """The blocks' responses in their order, while the next block is already read and transformed."""
    reading, inverses = Lock(), Inverses()

    def deconvolved(block: Sequence[Take]) -> list[tuple[Take, ImpulseResponse]]:
        with reading:
            answers = read_answers(raw, block, stimulus)
            for length in {_length(answer, stimulus) for answer in answers}:
                _prepared(length, stimulus, inverses, quiet)
        return list(_deconvolve_block(answers, stimulus, inverses))

    pool = ThreadPoolExecutor(AT_ONCE)
    try:
        begun: deque[Future[list[tuple[Take, ImpulseResponse]]]] = deque()
        for block in blocks:
            begun.append(pool.submit(deconvolved, block))
            if len(begun) == AT_ONCE:
                yield from begun.popleft().result()
        for future in begun:
            yield from future.result()
    finally:
        pool.shutdown(cancel_futures=True)


class Trial:
    """Tries recordings as `deconvolve` will take them, before they are in a case.

    One trial serves all recordings of one stimulus, whose inverse it keeps: 0.1 s for the first recording of
    a length and half of it for each more, where sweep and recording last some seconds.

    Parameters
    ----------
    stimulus
        As `answers.stimulus_in` or `answers.read_stimulus` gave it.
    """

    def __init__(self, stimulus: Stimulus) -> None:
        self.stimulus: Final = stimulus
        self._inverses: Inverses = {}

    def require(self, take: Take, file: Path) -> None:
        """Refuse what `deconvolve` would refuse; `file` is where the take's file lies for now.

        A take that is no recording of a sweep passes.

        Raises
        ------
        ReadError
            See `deconvolve`; it names the take's path.
        """
        if take.key.kind in RECORDED and not is_given(take):
            answer = answer_in(file, take, self.stimulus)
            for _ in _deconvolve_block([answer], self.stimulus, self._inverses):
                pass


def _blocks(raw: Path, takes: Sequence[Take]) -> Iterator[list[Take]]:
    """Whole files, until they hold enough takes or bytes."""
    block: list[Take] = []
    held = 0
    for take in takes:
        if not block or block[-1].path != take.path:
            size = (raw / take.path).stat().st_size if (raw / take.path).exists() else 0
            if block and (len(block) >= BLOCK or held + size > BLOCK_BYTES):
                yield block
                block, held = [], 0
            held += size
        block.append(take)
    if block:
        yield block


def _deconvolve_block(
    answers: Sequence[Answer], stimulus: Stimulus, inverses: Inverses
) -> Iterator[tuple[Take, ImpulseResponse]]:
    """The impulse responses of answers, in their order; those of one length are transformed together."""
    lengths = [_length(answer, stimulus) for answer in answers]
    found: dict[int, ImpulseResponse] = {}
    for length in sorted(set(lengths)):
        tools = _prepared(length, stimulus, inverses)
        rows = [i for i, n in enumerate(lengths) if n == length]
        most = max(1, min(BLOCK, BLOCK_SAMPLES // length))
        for start in range(0, len(rows), most):
            some = rows[start : start + most]
            responses = _deconvolved([answers[i] for i in some], stimulus, tools, length)
            found.update(zip(some, responses, strict=True))
    for i, answer in enumerate(answers):
        yield answer.take, found[i]


def _length(answer: Answer, stimulus: Stimulus) -> int:
    return sweeps.block_length(answer.microphone.size, stimulus.samples.size)


def _prepared(
    length: int, stimulus: Stimulus, inverses: Inverses, silent: Silence | None = None
) -> _Prepared:
    """What transforms of a length need, made once. Silence that is shorter than they are is repeated."""
    if length not in inverses:
        inverse = sweeps.inverse_filter(stimulus.samples, stimulus.sample_rate_hz, stimulus.band_hz, length)
        quiet = None
        if silent is not None:
            quiet = sweeps.deconvolve(np.resize(silent.samples, (1, length)), inverse, length)[0]
        inverses[length] = _Prepared(inverse, quiet)
    return inverses[length]


def _deconvolved(
    answers: Sequence[Answer], stimulus: Stimulus, tools: _Prepared, length: int
) -> list[ImpulseResponse]:
    """Impulse responses of answers of one length."""
    inverse = tools.inverse
    whole = _transformed([a.microphone for a in answers], inverse, length)
    require_prominent(whole, [a.take for a in answers], stimulus, "")
    wired = [a for a in answers if a.loopback is not None]
    references = _transformed([a.loopback for a in wired if a.loopback is not None], inverse, length)
    require_prominent(references, [a.take for a in wired], stimulus, "its loopback ")
    zero_s = {
        a.take.id: sweeps.pulse_position(r, stimulus.sample_rate_hz, stimulus.band_hz)
        / stimulus.sample_rate_hz
        for a, r in zip(wired, references, strict=True)
    }
    for answer, response in zip(answers, whole, strict=True):
        require_own_pace(response, answer, stimulus)
    return [
        _kept(r, stimulus, a, zero_s.get(a.take.id), tools.quiet) for a, r in zip(answers, whole, strict=True)
    ]


def _transformed(recordings: Sequence[Float32s], inverse: npt.NDArray[np.complex64], length: int) -> Float32s:
    """Impulse responses of recordings, shape (R, length)."""
    stacked = np.zeros((len(recordings), length), dtype=np.float32)
    for row, recording in enumerate(recordings):
        stacked[row, : recording.size] = recording
    return sweeps.deconvolve(stacked, inverse, length)


def _kept(
    whole: Float32s, stimulus: Stimulus, answer: Answer, zero_s: float | None, quiet: Float32s | None
) -> ImpulseResponse:
    """The part about the linear response's peak, scaled to a unit of drive, and noise.

    The recording holds peak·√2⁻¹ full scale RMS of stimulus per drive, for a sine. Time counts from `zero_s`.
    Noise is that of silence (`quiet`) where it agrees with what lies before the peak, and else this.
    """
    take, length, rate = answer.take, whole.size, stimulus.sample_rate_hz
    band_hz = held_band_hz(whole, answer, stimulus)
    peak = int(np.argmax(np.abs(whole[: length // 2])))
    if zero_s is not None and peak < zero_s * rate - 1.0:
        raise ReadError(
            take.id,
            f"holds sound {1e3 * (zero_s - peak / rate):.2f} ms before its loopback",
            "state the channels the other way round: selector and read.loopback in takes.toml",
        )
    scale = np.float32(_per_unit(stimulus, drive_of(take)))
    first = peak - kept_before(rate)
    kept = np.arange(first, first + min(kept_samples(rate), length // 2))
    lead = sweeps.harmonic_lead_s(stimulus.rate_s, 2)
    gap = round(min(NOISE_GAP_PERIODS / stimulus.band_hz[0], NOISE_GAP_PART * lead) * rate)
    count = min(noise_samples(rate), round(NOISE_PART * lead * rate), length // 4)
    own = whole[np.arange(peak - gap - count, peak - gap) % length]
    if quiet is not None and not _agree(own, quiet[: own.size], stimulus):
        quiet = None
    return ImpulseResponse(
        samples=whole[kept % length] * scale,
        sample_rate_hz=float(rate),
        start_s=float(kept[0]) / rate - (zero_s or 0.0),
        noise=(own if quiet is None else quiet[:count]) * scale,
        band_hz=band_hz,
        heard=_heard(answer, stimulus, peak),
        orders=orders_in(whole, stimulus, peak, quiet) if tells_orders(take) else None,
        rate_s=stimulus.rate_s,
        noise_is_silence=quiet is not None,
    )


def _agree(own: Float32s, quiet: Float32s, stimulus: Stimulus) -> bool:
    """Whether the noise of silence is that of a sweep's recording; not where the latter can't be told."""
    rate, (low, high) = float(stimulus.sample_rate_hz), stimulus.band_hz
    hertz = HELD_AT_HZ[(low < HELD_AT_HZ) & (min(high, 0.45 * rate) > HELD_AT_HZ)]
    if own.size == 0 or hertz.size == 0:
        return False
    mine, other = (noise.power_per_sample(one, rate, hertz) for one in (own, quiet))
    if not (np.all(mine > 0.0) and np.all(other > 0.0)):
        return False
    return bool(abs(np.median(10.0 * np.log10(other / mine))) <= AGREE_DB)


def _heard(answer: Answer, stimulus: Stimulus, at: int) -> Heard:
    """What the recording itself tells, where its sound arrives at sample `at`."""
    rate, high = float(stimulus.sample_rate_hz), stimulus.band_hz[1]
    ends_s = (at + stimulus.sounding) / rate
    passed_s = ends_s - stimulus.rate_s * float(np.log(high / PASSED_HZ)) if high > PASSED_HZ else None
    return heard_in(answer.microphone, rate, passed_s)


def _per_unit(stimulus: Stimulus, drive: Drive) -> float:
    return stimulus.peak / float(np.sqrt(2.0)) / drive_units(drive)
