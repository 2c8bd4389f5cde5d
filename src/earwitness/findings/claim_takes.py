"""The take that would decide a maker's claim that the data leave open.

What is missing follows from the claim: the low end wants a near field of every radiator that has none, and
after those a longer gate; an impedance wants its own take over the whole range; a claim that was missed by
what isn't stated wants the microphone's calibration. Above 20 kHz nothing is derived, and nothing proposed.
"""

from __future__ import annotations

from dataclasses import dataclass

from earwitness.findings.claim_readings import AUDIBLE_HZ, FALLS, NOT_STATED, STEP, Bench
from earwitness.findings.next_measurement import WORDS, named_radiator
from earwitness.findings.next_table import Possible
from earwitness.findings.take_exposure import SILENT, caution, exposure_of
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.curves import CurveName
from earwitness.records.facts import Claim
from earwitness.records.findings import ClaimReading
from earwitness.records.next_measurement import NextMeasurement, NextTake
from earwitness.records.responses import Responses
from earwitness.records.sentences import EMPTY, Sentence, say


@dataclass(frozen=True)
class Deciding:
    """What a case could measure yet; None of both where no responses are known."""

    possible: Possible | None = None
    responses: Responses | None = None

    def take(self, bench: Bench, claim: Claim, tried: tuple[ClaimReading, ...]) -> NextMeasurement | None:
        """Of a claim that can't be judged; None where no take would decide it."""
        found = self._take(bench, claim, tried)
        if found is None or self.responses is None or found.take in SILENT:
            return found
        near = () if self.possible is None else self.possible.near
        sizes = [one.radius_m for one in near if one.name == found.radiator and one.radius_m]
        radius = min(sizes, default=None)
        exposure = exposure_of(found.take, radius, bench.curves, self.responses)
        return NextMeasurement(found.take, 0.0, 0.0, (), radiator=found.radiator, exposure=exposure)

    def _take(self, bench: Bench, claim: Claim, tried: tuple[ClaimReading, ...]) -> NextMeasurement | None:
        unstated = any(one.holds is None and one.doubt == NOT_STATED for one in tried)
        if claim.figure == "impedance":
            return None if unstated else _only(NextTake.IMPEDANCE)
        if unstated:
            return _only(NextTake.CALIBRATION)
        if tried and all(one.holds is None and one.doubt == STEP for one in tried):
            return None
        low, high = _band(claim)
        if high > AUDIBLE_HZ[1] or low < AUDIBLE_HZ[0]:
            return None
        valid = bench.curves.valid_band_hz(CurveName.ON_AXIS)
        if valid is not None and low >= valid[0]:
            return None
        return self._low_end()

    def _low_end(self) -> NextMeasurement:
        near = () if self.possible is None else self.possible.near
        if not near:
            return _only(NextTake.LONGER_GATE)
        port = near[0].is_port
        return _only(NextTake.NEAR_PORT if port else NextTake.NEAR_DRIVERS, near[0].name)


def decide_sentence(found: NextMeasurement | None, here: str) -> Sentence:
    """``The near field of the woofer, at a low drive, would decide it. …``; `here` is its reference."""
    if found is None:
        return EMPTY
    what = say(WORDS[found.take]) if found.radiator is None else named_radiator(found.radiator)
    if found.take is NextTake.IMPEDANCE:
        what = say("The impedance over the whole range")
    told = say(what, " would decide it.")
    return told if found.take in SILENT else told + say(" ") + caution(found.exposure, f"{here}/exposure")


def _only(take: NextTake, radiator: str | None = None) -> NextMeasurement:
    return NextMeasurement(take, 0.0, 0.0, (), radiator=radiator)


def _band(claim: Claim) -> tuple[float, float]:
    """What has to be valid."""
    if claim.figure in FALLS:
        return claim.value, SENSITIVITY_BAND_HZ[1]
    return SENSITIVITY_BAND_HZ if claim.band_hz is None else claim.band_hz
