"""Time behaviour as variables of ``curves.nc``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from earwitness.case.netcdf_file import NetcdfReader, NetcdfWriter, Variable
from earwitness.records.takes import TakeId
from earwitness.records.time import BurstDecay, CumulativeDecay, Delays, TimeBehaviour, Waveforms

_WHOLE: Final = ("gate_s", "closes_s", "near_field_to_hz", "gated_from_hz")
#: Field of the record → unit and meaning; the variables are called after the part and the field.
_DELAYS: Final = {
    "group_s": ("s", "group delay on axis, re the arrival"),
    "minimum_s": ("s", "group delay of the minimum-phase system of the same magnitude"),
    "excess_s": ("s", "group delay less that of minimum phase"),
    "excess_uncertainty_s": ("s", "one standard uncertainty of it, by slopes past the band"),
    "excess_phase_deg": ("degree", "phase less minimum phase and the arrival's delay"),
}
_WAVEFORMS: Final = {
    "impulse": ("1", "impulse response on axis, re its peak"),
    "step": ("1", "step response on axis, re its peak"),
    "energy_db": ("dB", "energy-time curve on axis, re its peak"),
    "click_db": ("dB", "energy-time curve of a perfect click in the same band"),
}
_BURSTS: Final = {
    "fall_cycles": ("1", "cycles after its peak from which a burst's envelope stays below −20 dB"),
    "end_cycles": ("1", "cycles after its peak at which the measurement of a burst ends"),
}


def time_dims(time: TimeBehaviour | None) -> Mapping[str, int]:
    """The dimensions that `write_time` needs."""
    dims: dict[str, int] = {}
    if time is None:
        return dims
    dims["time_take"] = len(time.takes)
    if time.waveforms is not None:
        dims["waveform_time"] = len(time.waveforms.time_s)
    if time.bursts is not None:
        dims |= {"burst_frequency": len(time.bursts.frequency_hz), "burst_cycles": len(time.bursts.cycles)}
    if time.cumulative is not None:
        dims |= {
            "decay_frequency": len(time.cumulative.frequency_hz),
            "decay_time": len(time.cumulative.time_s),
        }
    return dims


def write_time(file: NetcdfWriter, time: TimeBehaviour) -> None:
    """All parts that there are."""
    file.whole({f"time_{field}": getattr(time, field) for field in _WHOLE})
    file.texts("time_takes", Variable(("time_take",), "1", "takes of the time behaviour"), time.takes)
    if time.delays is not None:
        slopes = {"slope_below": time.delays.slope_below, "slope_above": time.delays.slope_above}
        for field, (unit, meaning) in _DELAYS.items():
            described = Variable(("frequency",), unit, meaning, slopes)
            file.numbers(f"delay_{field}", described, getattr(time.delays, field))
    if time.waveforms is not None:
        low, high = time.waveforms.band_hz
        band = {"energy_from_hz": low, "energy_to_hz": high}
        described = Variable(("waveform_time",), "s", "time after the arrival", band)
        file.numbers("waveform_time", described, time.waveforms.time_s)
        for field, (unit, meaning) in _WAVEFORMS.items():
            described = Variable(("waveform_time",), unit, meaning)
            file.numbers(f"waveform_{field}", described, getattr(time.waveforms, field))
    if time.bursts is not None:
        _write_bursts(file, time.bursts)
    if time.cumulative is not None:
        one = time.cumulative
        file.numbers("decay_frequency", Variable(("decay_frequency",), "Hz", "frequency"), one.frequency_hz)
        file.numbers("decay_time", Variable(("decay_time",), "s", "time after the arrival"), one.time_s)
        left = Variable(("decay_time", "decay_frequency"), "dB", "level of what is left, re the whole")
        file.numbers("decay_level", left, one.level_db)


def _write_bursts(file: NetcdfWriter, bursts: BurstDecay) -> None:
    along = ("burst_frequency",)
    limit = {"near_field_to_hz": bursts.near_field_to_hz}
    file.numbers("burst_frequency", Variable(along, "Hz", "frequency of a burst", limit), bursts.frequency_hz)
    shown = Variable(("burst_cycles",), "1", "cycles after the envelope's peak")
    file.numbers("burst_cycles", shown, bursts.cycles)
    level = Variable(("burst_frequency", "burst_cycles"), "dB", "envelope of a tone burst, re its peak")
    file.numbers("burst_envelope", level, bursts.envelope_db)
    for field, (unit, meaning) in _BURSTS.items():
        file.numbers(f"burst_{field}", Variable(along, unit, meaning), getattr(bursts, field))


def read_time(file: NetcdfReader) -> TimeBehaviour | None:
    """What `write_time` wrote; None where it wrote nothing."""
    if not file.has("time_takes"):
        return None
    return TimeBehaviour(
        takes=tuple(TakeId(take) for take in file.texts("time_takes")),
        **{field: float(file.whole(f"time_{field}")) for field in _WHOLE},
        delays=_read_delays(file) if file.has("delay_group_s") else None,
        waveforms=_read_waveforms(file) if file.has("waveform_time") else None,
        bursts=_read_bursts(file) if file.has("burst_envelope") else None,
        cumulative=_read_cumulative(file) if file.has("decay_level") else None,
    )


def _read_delays(file: NetcdfReader) -> Delays:
    below, above = (float(file.attribute("delay_group_s", f"slope_{side}")) for side in ("below", "above"))
    values = {field: file.numbers(f"delay_{field}") for field in _DELAYS}
    return Delays(**values, slope_below=below, slope_above=above)


def _read_waveforms(file: NetcdfReader) -> Waveforms:
    low, high = (float(file.attribute("waveform_time", f"energy_{end}_hz")) for end in ("from", "to"))
    values = {field: file.numbers(f"waveform_{field}") for field in _WAVEFORMS}
    return Waveforms(time_s=file.numbers("waveform_time"), **values, band_hz=(low, high))


def _read_bursts(file: NetcdfReader) -> BurstDecay:
    values = {field: file.numbers(f"burst_{field}") for field in _BURSTS}
    return BurstDecay(
        frequency_hz=file.numbers("burst_frequency"),
        cycles=file.numbers("burst_cycles"),
        envelope_db=file.numbers("burst_envelope"),
        near_field_to_hz=float(file.attribute("burst_frequency", "near_field_to_hz")),
        **values,
    )


def _read_cumulative(file: NetcdfReader) -> CumulativeDecay:
    names = ("decay_frequency", "decay_time", "decay_level")
    frequency, time, level = (file.numbers(name) for name in names)
    return CumulativeDecay(frequency, time, level)
