"""What a loudspeaker adds to steady tones, as figures: modulation of two, and what lies between many."""

from __future__ import annotations

from typing import Final

from earwitness.derive.formatting import frequency_text
from earwitness.derive.numerals import frequency, quantity
from earwitness.records.figures import Bound, Evidence, Figure, FigureName, Quantity, Value
from earwitness.records.sentences import Sentence, Term, say
from earwitness.records.sources import Source, Standing
from earwitness.records.tones import Added, Multitone, ToneSet, TwoTones
from earwitness.records.uncertainty import ComponentName

PERCENT: Final = 100.0
LEVEL: Final = "level at one metre, dB"
HOURS: Final = "hours a day"
LOW: Final = "low tone"
HIGH: Final = "high tone"
TONES: Final = "tones"
WORST: Final = "band where most is added"
WORST_DB: Final = "there re the tones of that band, dB"

SIDEBANDS: Final = Source("IEC 60268-5", "", "modulation distortion", Standing.RECALLED)
BETWEEN: Final = Source("Earwitness", "", "between many tones", Standing.OWN)


def tone_figures(found: ToneSet) -> tuple[Figure, ...]:
    """Those of the recordings at the greatest drive; the others' ratios stand beside them."""
    figures: tuple[Figure, ...] = ()
    if found.two_tones:
        figures += (
            _modulation(found, FigureName.MODULATION_SECOND),
            _modulation(found, FigureName.MODULATION_THIRD),
        )
    if found.multitone:
        figures += (_multitone(found),)
    return figures


def _modulation(found: ToneSet, name: FigureName) -> Figure:
    """Sidebands of one order re the high tone."""
    one = found.two_tones[-1]
    here = f"figure:{name}/also"
    also = {LOW: one.low_hz, HIGH: one.high_hz, **_level(one)}
    for other in found.two_tones[:-1]:
        low, high = (frequency_text(hertz, 3) for hertz in (other.low_hz, other.high_hz))
        also[f"at {other.drive.label}, {low} and {high}"] = PERCENT * _order(other, name).ratio
    conditions = say(
        frequency(one.low_hz, f"{here}/{LOW}"), " and ", frequency(one.high_hz, f"{here}/{HIGH}")
    ) + _at(one, here)
    band = (one.low_hz, one.high_hz)
    return _figure(
        name, _order(one, name), one, also=also, conditions=conditions, band=band, source=SIDEBANDS
    )


def _order(one: TwoTones, name: FigureName) -> Added:
    return one.second if name is FigureName.MODULATION_SECOND else one.third


def _multitone(found: ToneSet) -> Figure:
    """All that lies between the tones, re the tones."""
    name = FigureName.MULTITONE
    one = found.multitone[-1]
    here = f"figure:{name}/also"
    also = {TONES: float(one.tones), **_level(one)}
    worst = worst_band(one)
    if worst is not None:
        also |= {WORST: one.bands_hz[worst], WORST_DB: one.between_db[worst] - one.tones_db[worst]}
    for other in found.multitone[:-1]:
        also[f"at {other.drive.label}"] = PERCENT * other.total.ratio
    conditions = say(quantity(one.tones, "", f"{here}/{TONES}", 0), " tones") + _at(one, here)
    band = (one.bands_hz[0], one.bands_hz[-1])
    return _figure(name, one.total, one, also=also, conditions=conditions, band=band, source=BETWEEN)


def worst_band(one: Multitone) -> int | None:
    """The third octave in which most is heard between its tones, re them; None where nothing is heard."""
    heard = [i for i, is_heard in enumerate(one.heard) if is_heard]
    return max(heard, key=lambda i: one.between_db[i] - one.tones_db[i], default=None)


def _level(one: TwoTones | Multitone) -> dict[str, float]:
    return {} if one.level_db is None or one.hours is None else {LEVEL: one.level_db, HOURS: one.hours}


def _at(one: TwoTones | Multitone, here: str) -> Sentence:
    said = say(" at ", Term(one.drive.label))
    if one.level_db is None:
        return said
    return said + say(", ", quantity(one.level_db, "dB", f"{here}/{LEVEL}", 0), " at one metre")


def _figure(
    name: FigureName,
    added: Added,
    one: TwoTones | Multitone,
    *,
    also: dict[str, float],
    conditions: Sentence,
    band: tuple[float, float],
    source: Source,
) -> Figure:
    ratio, unsure = PERCENT * added.ratio, PERCENT * added.uncertainty
    value: Value = Quantity(ratio) if added.heard else Bound(ratio, "at most")
    return Figure(
        name=name,
        value=value,
        unit="%",
        uncertainty=unsure if added.heard else None,
        components={ComponentName.NOISE: unsure} if added.heard else {},
        conditions=conditions,
        reading=f"noise: {one.noise_from}",
        valid_band_hz=band,
        method="measurement.toned.toned",
        source=source,
        evidence=Evidence((), (one.take,)),
        also=also,
    )
