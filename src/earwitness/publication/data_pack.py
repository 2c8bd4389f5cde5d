"""The data pack: curves and figures as plain tables, and the machine-readable files as they are."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.case.documents import to_json
from earwitness.publication.aes69_file import NO_DATE, aes69_file, directions
from earwitness.publication.context import PublicationContext
from earwitness.publication.rows import value_sentence
from earwitness.records.curves import CurveSet
from earwitness.records.errors import NotAvailableError
from earwitness.records.figures import Bound, Figure, Quantity

#: Files of a build that go out as they are; the last where points of quality were looked at.
COPIED: Final = ("curves.nc", "responses.nc", "results.json", "findings.json")
CHECKED: Final = "quality.json"
#: The harmonics at each drive, of builds that tell them.
LEVELS: Final = "distortion.nc"
#: A text cell that begins with one of these could be taken for a formula by a spreadsheet.
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")

_README: Final = """{title}

curves.csv     one row a frequency. frequency_hz in Hz; each curve in dB re 20 uPa at 1 m for {drive}
               (the two indices in dB), beside it one standard uncertainty (k = 1) of what is known, in dB.
               An empty cell: not valid, or not stated.
{impedance}\
figures.csv    one row a figure of merit: the value in its unit, one standard uncertainty in the same unit,
               the value in words, conditions, reading, valid band in Hz, method, source and its standing.
curves.nc      the same curves as NetCDF-4, with coverage maps and the components of uncertainty.
responses.nc   every reduced response as NetCDF-4: Pa per unit of drive at 1 m; complex as _re and _im;
               angles in degrees, frequencies in Hz.
{levels}{heard}{aes69}results.json   every figure of merit with its components, evidence and source.
findings.json  every statement with its place and evidence.
{quality}
A text cell that begins with a character that a spreadsheet takes for a formula has an apostrophe before it.
Build {build_id}, {program}.
"""


_QUALITY: Final = (
    "quality.json   every point that was checked: verdict, limit, its numbers and what its picture shows.\n"
)
_IMPEDANCE: Final = """\
impedance.csv  one row a frequency: magnitude and one standard uncertainty of what is known in ohm, phase in
               degrees, and the resistor that loads an ideal class-B amplifier as hard, in ohm; the complex
               impedance is in responses.nc.
"""
_LONG_TERM: Final = """\
long_term.json what a load that lasts does to the level, by seconds and octaves (s, dB), what makes it and how
               likely that is, time constants with their intervals, and self-noise (dB re 20 uPa).
"""
_TONES: Final = """\
tones.json     what is added to two steady tones (ratios of amplitudes) and between many (dB re all tones, by
               third octave), at each drive.
"""
_LEVELS: Final = """\
distortion.nc  harmonics by order at each drive, on axis and near a radiator, as NetCDF-4: Pa RMS at 1 m; what
               noise alone adds, and where the level is that of the free field.
"""
_AES69: Final = """\
responses.sofa the measured directions at {drive} as AES69-2022 (FreeFieldDirectivityTF): Pa (RMS) at 1 m, at
               the frequencies at which all of them are valid; none that are interpolated. Its date is that
               of the newest revision, or {no_date} where there is none: the same case gives the same file.
"""


def data_pack(context: PublicationContext, build: Path) -> dict[str, bytes]:
    """The files of ``data/`` by name.

    Parameters
    ----------
    context
        The case.
    build
        The folder that holds the named files of the build (`COPIED`, `CHECKED`).

    Raises
    ------
    OSError
        If one of them can't be read.
    """
    sofa = _aes69(context)
    readme = _README.format(
        title=" ".join(context.title.split()),
        drive=context.curves.drive,
        build_id=context.build_id,
        program=context.program,
        quality=_QUALITY if context.quality else "",
        impedance=_IMPEDANCE if context.curves.impedance else "",
        heard=(_LONG_TERM if context.curves.long_term.anything else "")
        + (_TONES if context.curves.tones.anything else ""),
        levels=_LEVELS if (build / LEVELS).is_file() else "",
        aes69=_AES69.format(drive=context.curves.drive, no_date=NO_DATE) if sofa else "",
    )
    made = {
        "README.txt": readme.encode(),
        "curves.csv": _table(_curve_rows(context.curves)),
        **(
            {}
            if context.curves.impedance is None
            else {"impedance.csv": _table(_impedance_rows(context.curves))}
        ),
        **_long_term(context.curves),
        "figures.csv": _table(_figure_rows(context.results.figures)),
    }
    copied: tuple[str, ...] = (*COPIED, CHECKED) if context.quality else COPIED
    if (build / LEVELS).is_file():
        copied += (LEVELS,)
    return made | sofa | {name: (build / name).read_bytes() for name in copied}


def _long_term(curves: CurveSet) -> dict[str, bytes]:
    """A load that lasts and self-noise, and what is added to steady tones, where there is one of them."""
    found = {"long_term.json": to_json(curves.long_term)} if curves.long_term.anything else {}
    return found | ({"tones.json": to_json(curves.tones)} if curves.tones.anything else {})


def _aes69(context: PublicationContext) -> dict[str, bytes]:
    """The directions as AES69, where there is a frequency at which all of them are valid."""
    try:
        found = directions(context.responses)
    except NotAvailableError:
        return {}
    unit, day = context.facts.unit, context.revised_on
    return {"responses.sofa": aes69_file(found, unit, context.program, day)}


def text_cell(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def _table(rows: Iterable[list[str]]) -> bytes:
    sheet = io.StringIO()
    csv.writer(sheet, lineterminator="\r\n").writerows(rows)
    return sheet.getvalue().encode()


def _curve_rows(curves: CurveSet) -> Iterable[list[str]]:
    shown = [c for c in curves.curves.values() if c.available]
    head = [name for c in shown for name in (str(c.name), f"{c.name}_uncertainty")]
    yield ["frequency_hz", *head]
    columns = [np.where(c.valid, values, np.nan) for c in shown for values in (c.level_db, c.uncertainty_db)]
    for i, hz in enumerate(curves.frequency_hz):
        yield [f"{hz:.6g}", *(_number(column[i], 4) for column in columns)]


def _impedance_rows(curves: CurveSet) -> Iterable[list[str]]:
    found = curves.impedance
    if found is None:
        return
    yield ["frequency_hz", "magnitude_ohm", "uncertainty_ohm", "phase_deg", "amplifier_load_ohm"]
    columns = (found.magnitude_ohm, found.uncertainty_ohm, found.phase_deg, found.load_ohm)
    for i, hz in enumerate(curves.frequency_hz):
        yield [f"{hz:.6g}", *(_number(column[i], 4) for column in columns)]


def _number(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else ""


def _figure_rows(figures: tuple[Figure, ...]) -> Iterable[list[str]]:
    yield [
        "name", "value", "unit", "uncertainty", "in_words", "conditions", "reading",
        "valid_from_hz", "valid_to_hz", "method", "source", "standing",
    ]  # fmt: skip
    for figure in figures:
        value = figure.value.value if isinstance(figure.value, Quantity | Bound) else None
        band = figure.valid_band_hz or (None, None)
        text = (
            figure.reading, figure.method, str(figure.source), str(figure.source.standing),
            str(value_sentence(figure)), str(figure.conditions), figure.unit,
        )  # fmt: skip
        reading, method, source, standing, words, conditions, unit = (text_cell(t) for t in text)
        low, high, plain, spread = (
            "" if number is None else f"{number:.6g}" for number in (*band, value, figure.uncertainty)
        )
        yield [
            str(figure.name), plain, unit, spread, words, conditions, reading,
            low, high, method, source, standing,
        ]  # fmt: skip
