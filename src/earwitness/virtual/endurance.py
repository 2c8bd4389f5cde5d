"""A long run in the workshop: seconds of noise at a high drive, of the same noise far weaker, and of silence.

Each second of the run is one period of a noise, times a gain. It is played together with the second before it
and kept by itself, so that boxes and rooms have rung in as they really do. Coils carry their heat from second
to second (`heating`). Within a long stretch of one gain not every second is played: sound and heat of those
between follow from the two played about them, the power in a coil falling as its resistance rises. The
limiter hears the whole run in one go.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft

from earwitness.virtual.arrays import Floats
from earwitness.virtual.electronics import Electronics
from earwitness.virtual.heating import COLD, PER_KELVIN, Heating, Rise
from earwitness.virtual.playing import FINER, Player
from earwitness.virtual.steady_state import Period

#: In a stretch of one gain the seconds played lie so many times as far in as those before.
GROWTH: Final = 1.6

_State = list[Rise]


@dataclass(frozen=True, slots=True)
class Endured:
    """A run of K seconds.

    Attributes
    ----------
    recording
        Shape (K·N,), in the unit of the responses.
    rises
        Shape (K, U, 2): kelvins of each large-signal driver's coil and magnet at the end of each second.
    """

    recording: Floats
    rises: Floats


class _Steady(Player):
    """A player of one length of period, which it works out once."""

    def _period(self, samples: int) -> Period:
        kept: Period | None = self.__dict__.get("kept")
        if kept is None or kept.samples != samples * FINER:
            kept = Player._period(self, samples)
            self.__dict__["kept"] = kept
        return kept


class Endurance:
    """Plays runs.

    Parameters
    ----------
    player
        What plays it.
    second
        Shape (N,): volts of one period at a gain of 1; N is half of a `Player.period_samples`.
    responses
        Shape (C, M): what is recorded of each radiator's volume velocity; what comes after N is dropped.
    """

    def __init__(self, player: Player, second: Floats, responses: Floats) -> None:
        self._player, self._second = player, second
        self._count = len(second)
        if player.period_samples(2 * self._count) != 2 * self._count:
            raise ValueError(f"a period of {self._count} samples can't be played; take a multiple of 1000")
        electronics = Electronics(clipping=player.electronics.clipping)
        self._steady = _Steady(
            player.source, player.air, player.sample_rate_hz, electronics, player.output_ohm
        )
        self._responses = scipy.fft.rfft(responses[:, : self._count], 2 * self._count, axis=-1)

    def run(self, gains: Sequence[float]) -> Endured:
        """Play the second at each of K gains, 0 for silence."""
        volts = np.multiply.outer(np.asarray(gains, dtype=np.float64), self._second)
        limiter = self._player.electronics.limiter
        if limiter is not None:
            volts = limiter.held(volts.ravel(), self._player.sample_rate_hz).reshape(volts.shape)
        sound, states = np.zeros(volts.shape), [self._cold(), self._cold()]
        for first, end in _stretches(gains):
            played: list[int] = []
            for at in _chosen(first, end):
                states += self._skipped(states, at - (len(states) - 2))
                if not gains[at] and not (at and gains[at - 1]):
                    states.append(self._resting(states[-1]))
                    continue
                last = volts[at - 1] if at else np.zeros(self._count)
                sound[at], after = self._played(np.concatenate([last, volts[at]]), states[-2])
                states.append(after)
                played.append(at)
            _fill(sound, np.array(states), played)
        rises = np.array(states[2:]).reshape(len(gains), len(self._player.units), 2)
        return Endured(sound.ravel(), rises)

    def _cold(self) -> _State:
        return [COLD for _ in self._player.units]

    def _played(self, pair: Floats, start: _State) -> tuple[Floats, _State]:
        """The second half of what is recorded of two seconds, and the state at their end."""
        moved = self._steady.play(pair, start)
        total = np.einsum("cf,cf->f", moved.volume_velocity, self._responses)
        return np.asarray(scipy.fft.irfft(total, 2 * self._count)[self._count :]), list(moved.rises)

    def _heatings(self) -> list[Heating | None]:
        return [unit.heating for unit in self._player.units]

    def _resting(self, state: _State) -> _State:
        pairs = zip(self._heatings(), state, strict=True)
        return [rise if heating is None else heating.cooled(rise, 1.0) for heating, rise in pairs]

    def _skipped(self, states: Sequence[_State], count: int) -> list[_State]:
        """States at the end of `count` more seconds like the last."""
        found: list[_State] = []
        for _ in range(count):
            before, now = (*states, *found)[-2:]
            found.append(
                [
                    rise if heating is None else _another(heating, old, rise)
                    for heating, old, rise in zip(self._heatings(), before, now, strict=True)
                ]
            )
        return found


def _another(heating: Heating, before: Rise, now: Rise) -> Rise:
    """A second more at the same voltage, whose power falls as the resistance rises."""
    fall = math.exp(-1.0 / heating.coil_s)
    watts = (now[0] - fall * before[0]) / ((1.0 - fall) * heating.coil_k_per_w)
    alpha = PER_KELVIN[heating.wire]
    # resistance in the middle of either second
    was = 1.0 + 0.5 * alpha * (sum(before) + sum(now))
    watts *= was / (1.0 + alpha * (1.5 * sum(now) - 0.5 * sum(before)))
    slow = math.exp(-1.0 / heating.magnet_s)
    return (
        fall * now[0] + (1.0 - fall) * heating.coil_k_per_w * watts,
        slow * now[1] + (1.0 - slow) * heating.magnet_k_per_w * watts,
    )


def _stretches(gains: Sequence[float]) -> Iterator[tuple[int, int]]:
    """First second and end of each stretch of one gain."""
    first = 0
    for at in range(1, len(gains) + 1):
        if at == len(gains) or gains[at] != gains[first]:
            yield first, at
            first = at


def _chosen(first: int, end: int) -> Iterator[int]:
    """Seconds of a stretch that are played: its first three, the last, and ever fewer between."""
    at = first
    while at < end - 1:
        yield at
        at += max(1, min(round((GROWTH - 1.0) * (at - first)), end - 1 - at))
    yield end - 1


def _fill(sound: Floats, states: Floats, played: Sequence[int]) -> None:
    """Draw the seconds between two that were played, by how warm the warmest coil was at their start."""
    if states.shape[1] == 0:
        for one, other in itertools.pairwise(played):
            sound[one + 1 : other] = sound[one]
        return
    warmest = states.sum(axis=2).max(axis=1)[1:]
    for one, other in itertools.pairwise(played):
        ends = warmest[one], warmest[other]
        for at in range(one + 1, other):
            along = (at - one) / (other - one)
            if abs(ends[1] - ends[0]) > 1e-9:
                along = float(np.clip((warmest[at] - ends[0]) / (ends[1] - ends[0]), 0.0, 1.0))
            sound[at] = (1.0 - along) * sound[one] + along * sound[other]
