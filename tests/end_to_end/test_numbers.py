"""From every numeral on page and in PDF to the raw files on disk, by what the files of the case say."""

from __future__ import annotations

import hashlib
import importlib
import io
import json
import math
import re
import tomllib
from pathlib import Path
from typing import Any, cast
from xml.etree.ElementTree import Element

import h5py
import numpy as np
import pytest
from prose import Prose, known_texts, says, squeezed, text_of, unexplained, with_digits
from pypdf import PdfReader

from earwitness.case.layout import CaseFolder
from earwitness.publication.constants import CONSTANT_WORDS
from earwitness.publication.context import PublicationContext
from earwitness.publication.from_case import context_of
from earwitness.publication.origins import numbers_in

#: Middle of each octave of the strip (IEC 61260-1, exact base ten: 10^(3k/10) kHz; recalled).
OCTAVES_HZ = [1000.0 * 10 ** (0.3 * k) for k in range(-5, 5)]


#: How variables of time behaviour begin.
TIME = ("delay_", "waveform_", "burst_", "decay_")
#: Fields of change with level, and their variables after ``level_``.
LEVEL = {
    "arrived_db": "arrived",
    "ratio": "distortion",
    "order_ratio": "order_distortion",
    "change_db": "change",
    "band_hz": "band",
    "output_db": "clean_output",
}


class CaseOnDisk:
    """What the files of one published case say, read without the package's own readers."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.prose = Prose((root / "publication" / "index.html").read_text("utf-8"))
        self.figures: dict[str, Any] = {f["name"]: f for f in self._json("results")["figures"]}
        self.findings: list[dict[str, Any]] = self._json("findings")["findings"]
        self.points: dict[str, Any] = {p["name"]: p["values"] for p in self._json("quality")["points"]}
        self.facts = tomllib.loads((root / "case.toml").read_text("utf-8"))
        with h5py.File(root / "build" / "curves.nc") as file:
            names = (n for n in file if file[n].ndim == 1 and file[n].shape == file["frequency"].shape)
            self.curves = {name: np.asarray(file[name]) for name in names}
            of, part = ([text.decode() for text in file[name][:]] for name in ("curve", "component"))
            self.parts = {
                (curve, name): np.asarray(file["component_uncertainty"][i, k])
                for i, curve in enumerate(of)
                for k, name in enumerate(part)
            }
            self.level = {
                name.removeprefix("level_"): np.asarray(file[name])
                for name in file
                if name.startswith("level_") and file[name].dtype.kind == "f"
            }
            self.level_hours = float(np.squeeze(file.attrs.get("level_hours", np.nan)))
            self.time = {name: np.asarray(file[name]) for name in file if name.startswith(TIME)}
            self.time_told = {
                name: float(np.squeeze(value))
                for name, value in file.attrs.items()
                if name.startswith("time_") and name.endswith(("_s", "_hz"))
            }
            edges = file["waveform_time"].attrs if "waveform_time" in file else {}
            self.energy_band_hz = [
                float(np.squeeze(edges[name])) for name in ("energy_from_hz", "energy_to_hz") if name in edges
            ]

    def _json(self, name: str) -> dict[str, Any]:
        return dict(json.loads((self.root / "build" / f"{name}.json").read_text("utf-8")))

    def resolve(self, reference: str) -> float:
        """The value that a reference names."""
        scheme, _, path = reference.partition(":")
        steps = path.split("/")
        match scheme:
            case "figure" | "quality":
                return _walk(self.figures if scheme == "figure" else self.points, steps)
            case "claim" | "feature" | "change":
                claims = {str(f["claim"]["index"]): f["claim"] for f in self.findings if f["claim"]}
                features = {f["id"].removeprefix("feature-"): f for f in self.findings if f["feature"]}
                changes = {str(f["change"]["number"]): f for f in self.findings if f["change"]}
                return _walk({"claim": claims, "feature": features, "change": changes}[scheme], steps)
            case "case":
                return _walk(self.facts, path.replace("/", ".").split("."))
            case "curve" | "time" | "level" | "long_term":
                return getattr(self, f"_{scheme}")(steps)  # type: ignore[no-any-return]
            case "method":
                module = f"earwitness.{steps[0]}" if "." in steps[0] else f"earwitness.methods.{steps[0]}"
                return _walk(vars(importlib.import_module(module)), steps[1:])
            case _:
                return self._published(steps)

    def _curve(self, steps: list[str]) -> float:
        """Where a curve holds, or its uncertainty, or a part of one, at the grid's nearest frequency."""
        if steps[1].startswith("valid_"):
            valid = self.curves["frequency"][self.curves[f"{steps[0]}_valid"] == 1]
            return float({"valid_from_hz": valid[0], "valid_to_hz": valid[-1]}[steps[1]])
        nearest = int(np.argmin(np.abs(self.curves["frequency"] - float(steps[-1]))))
        if steps[1] == "components":
            return float(self.parts[steps[0], steps[2]][nearest])
        return float(self.curves["_".join(steps[:-2])][nearest])

    def _long_term(self, steps: list[str]) -> float:
        """What the data pack has of loads that last."""
        return _walk(json.loads((self.root / "publication" / "data" / "long_term.json").read_text()), steps)

    def _level(self, steps: list[str]) -> float:
        """What the variables of change with level hold, at one drive or band, at the nearest frequency."""
        if steps == ["hours"]:
            return self.level_hours
        values = self.level[LEVEL[steps[0]]][int(steps[1])]
        if len(steps) == 2:
            return float(values)
        return float(values[int(np.argmin(np.abs(self.curves["frequency"] - float(steps[3]))))])

    def _time(self, steps: list[str]) -> float:
        """What the variables of time behaviour hold, at the nearest frequency or moment."""
        match steps:
            case [whole]:
                return self.time_told[f"time_{whole}"]
            case ["waveforms", "band_hz", index]:
                return self.energy_band_hz[int(index)]
            case ["delays", name, "at", place]:
                axis, values = self.curves["frequency"], self.time[f"delay_{name}"]
            case ["waveforms", name, "at", place]:
                axis, values = self.time["waveform_time"], self.time[f"waveform_{name}"]
            case ["bursts", name, "at", place]:
                axis, values = self.time["burst_frequency"], self.time[f"burst_{name}"]
            case _:
                raise AssertionError(steps)
        return float(values[int(np.argmin(np.abs(axis - float(place))))])

    def _published(self, steps: list[str]) -> float:
        match steps:
            case ["findings", *rest]:
                return _walk(sorted(self.findings, key=lambda f: -f["importance"]), rest)
            case ["downloads", index, "size_bytes"]:
                rows = self.prose.entry("downloads").findall(".//tbody/tr")
                return float((self.root / "publication" / text_of(rows[int(index)][0])).stat().st_size)
            case ["take_sets", index, "count"]:
                return float(len(self.prose.entry(f"takes-{index}").findall(".//li")))
            case ["trust", "bands", index, "uncertainty_db"]:
                return self._octave(OCTAVES_HZ[int(index)])
            case ["trust", "gate_s" | "splice_hz" as what, *end]:
                return self._on_axis(
                    {"gate_s": "gate"}.get(what) or ("splice_low", "splice_high")[int(end[0])]
                )
            case ["trust", "exposure", what]:
                return self._exposure(what)
        raise AssertionError(steps)

    def _on_axis(self, name: str) -> float:
        """What ``responses.nc`` has of the first take on axis."""
        with h5py.File(self.root / "build" / "responses.nc") as file:
            return float(file[name][int(np.flatnonzero(file["orbit_angle"][:] == 0.0)[0])])

    def _octave(self, middle_hz: float) -> float:
        ratio = self.curves["frequency"] / middle_hz
        inside = (ratio >= 10**-0.15) & (ratio < 10**0.15)
        return float(np.nanmedian(self.curves["on_axis_uncertainty"][inside]))

    def _exposure(self, what: str) -> float:
        # NIOSH 98-126: 8 h at 85 dB, half for every 3 dB more (recalled).
        stated = (self.root / "takes.toml").read_text("utf-8")
        volts = max(float(v) for v in re.findall(r'^drive = "([0-9.]+) V"', stated, re.MULTILINE))
        level = self.figures["sensitivity"]["value"]["value"] + 20.0 * np.log10(volts / 2.83)
        return float({"drive": volts, "level_db": level, "hours": 8.0 * 2.0 ** ((85.0 - level) / 3.0)}[what])


def _walk(here: Any, steps: list[str]) -> float:
    for step in steps:
        here = here[int(step)] if isinstance(here, list | tuple) else here[step]
    assert isinstance(here, int | float)
    return float(here)


@pytest.fixture(scope="module", params=["demo", "half_empty", pytest.param("loud", marks=pytest.mark.slow)])
def root(request: pytest.FixtureRequest) -> Path:
    found: Path = request.getfixturevalue(request.param)
    return found


@pytest.fixture(scope="module")
def case(root: Path) -> CaseOnDisk:
    return CaseOnDisk(root)


@pytest.fixture(scope="module")
def context(root: Path) -> PublicationContext:
    """The context with the downloads that were written."""
    folder = root / "publication"
    found = context_of(CaseFolder.open(root))
    rows = CaseOnDisk(root).prose.entry("downloads").findall(".//tbody/tr")
    names = [text_of(row[0]) for row in rows]
    return found.with_downloads(
        {n: (len(b := (folder / n).read_bytes()), hashlib.sha256(b).hexdigest()) for n in names}
    )


@pytest.fixture(scope="module")
def pdf(root: Path) -> PdfReader:
    return PdfReader(io.BytesIO((root / "publication" / "report.pdf").read_bytes()))


def _numbers(case: CaseOnDisk) -> list[tuple[Element, Element]]:
    """Every number of the page: the link, and the value in it."""
    return [(e, e[0]) for e in case.prose.root.iter("a") if e.get("class") == "n"]


def test_every_number_is_what_a_file_says(case: CaseOnDisk) -> None:
    numbers = _numbers(case)
    # Neither more nor fewer: each value stands in a link.
    assert len(numbers) == len(case.prose.references)
    assert len(numbers) > 60
    for _, data in numbers:
        reference, text = data.attrib["data-ref"], text_of(data)
        value = float(data.attrib["value"])
        # Ten digits are written.
        assert value == pytest.approx(case.resolve(reference), rel=1e-9), reference
        # A figure's unit is its own, and so is a point's; everything else is in seconds.
        own_unit = reference.startswith(("figure:", "quality:")) and text.endswith("ms")
        in_seconds = value / 1e3 if own_unit else value
        # what `says` takes for hours: only loads that last are in seconds
        own = case.figures.get(reference.removeprefix("figure:").split("/")[0], {"unit": ""})
        if text.endswith(" s") and (own["unit"] == "s" or "seconds" in reference or "load_s" in reference):
            in_seconds = value / 3600.0
        # ratios are told in per cent
        if text.endswith("%") and (
            reference.startswith(("level:", "feature:")) or "CLEAN_DISTORTION" in reference
        ):
            in_seconds = 100.0 * value
        assert says(text, in_seconds), (reference, text, value)


def test_no_other_digits_on_the_page(case: CaseOnDisk) -> None:
    assert with_digits(case.prose.loose) == []


def test_every_number_leads_to_an_entry_of_its_own_kind(case: CaseOnDisk) -> None:
    for link, data in _numbers(case):
        scheme, _, path = data.attrib["data-ref"].partition(":")
        target = link.attrib["href"][1:]
        entry = case.prose.entry(target)
        if scheme in {"figure", "curve", "method", "claim", "quality"}:
            name = path.split("/")[0].replace(".", "-")
            assert target == f"from-{scheme}-{name.replace('_', '-') if scheme == 'quality' else name}"
            assert entry.tag == "details"
        elif scheme == "case":
            assert target == "from-case"


def _rows(entry: Element) -> dict[str, Element]:
    return {text_of(row[0]): row[1] for row in entry.findall("./dl/div")}


def _takes(case: CaseOnDisk, cell: Element) -> dict[str, str]:
    """Take → the id of its raw file's line, through the list that it may name."""
    links = cell.findall(".//li/a")
    if not links:
        links = case.prose.entry(cell[0].attrib["href"][1:]).findall(".//li/a")
    return {text_of(a): a.attrib["href"][1:] for a in links}


def _takes_of(case: CaseOnDisk, entry: Element) -> dict[str, str]:
    rows = _rows(entry)
    found = _takes(case, rows["Takes"]) if "Takes" in rows else {}
    for curve in rows.get("Curves", ()):
        found |= _takes_of(case, case.prose.entry(curve.attrib["href"][1:]))
    return found


def test_from_every_number_to_the_bytes_of_the_raw_files(case: CaseOnDisk) -> None:
    """Number → figure or curve → method, which can be imported → curves → takes → SHA-256 of the file."""
    entries = {link.attrib["href"][1:] for link, _ in _numbers(case)}
    walked = {e for e in entries if e.startswith(("from-figure-", "from-curve-"))}
    hashed: dict[str, str] = {}
    for name in walked:
        entry = case.prose.entry(name)
        module, _, function = text_of(_rows(entry)["Method"]).rpartition(".")
        assert callable(getattr(importlib.import_module(module), function))
        assert text_of(_rows(entry)["Source"])
        assert text_of(_rows(entry)["Known"])
        takes = _takes_of(case, entry)
        figure = case.figures.get(name.removeprefix("from-figure-"))
        if figure and figure["value"]["kind"] != "not_available":
            assert set(takes) == set(figure["evidence"]["takes"]), name
        assert takes or (figure and figure["value"]["kind"] == "not_available"), name
        for take, line in takes.items():
            path, digest = (text_of(code) for code in case.prose.entry(line).findall("code"))
            assert take.partition("#")[0] == path
            if path not in hashed:
                hashed[path] = hashlib.sha256((case.root / "raw" / path).read_bytes()).hexdigest()
            assert digest == hashed[path]
    assert len(hashed) > 30


def test_every_raw_file_and_every_download_has_its_hash(case: CaseOnDisk) -> None:
    raw = {text_of(li[0]): text_of(li[1]) for li in case.prose.entry("raw-files").iter("li")}
    on_disk = {str(p.relative_to(case.root / "raw")) for p in (case.root / "raw").rglob("*") if p.is_file()}
    assert set(raw) == on_disk
    for row in case.prose.entry("downloads").findall(".//tbody/tr"):
        content = (case.root / "publication" / text_of(row[0])).read_bytes()
        assert hashlib.sha256(content).hexdigest() == text_of(row[2])
        assert row[0][0].attrib["href"] == text_of(row[0])


def test_from_a_point_of_quality_to_its_code_its_limit_and_raw_files(case: CaseOnDisk) -> None:
    entries = {t for a, _ in _numbers(case) if (t := a.attrib["href"][1:]).startswith("from-quality-")}
    assert len(entries) > 5
    for name in entries:
        rows = _rows(case.prose.entry(name))
        module, _, function = text_of(rows["Method"]).rpartition(".")
        assert callable(getattr(importlib.import_module(module), function))
        assert text_of(rows["File"]).startswith("quality.json")
        for take, line in (_takes(case, rows["Takes"]) if "Takes" in rows else {}).items():
            path, digest = (text_of(code) for code in case.prose.entry(line).findall("code"))
            assert take.partition("#")[0] == path
            assert hashlib.sha256((case.root / "raw" / path).read_bytes()).hexdigest() == digest


def test_constants_are_called_by_words(case: CaseOnDisk) -> None:
    quoted = {r.split("/")[1] for r in case.prose.references if r.startswith("method:")}
    assert quoted
    assert quoted <= set(CONSTANT_WORDS)
    entries = [e for e in case.prose.root.iter("details") if e.get("id", "").startswith("from-method-")]
    for entry in entries:
        assert not [name for name in quoted if name in text_of(entry)]


def test_no_other_digits_in_the_pdf(context: PublicationContext, pdf: PdfReader) -> None:
    parts = (
        context.header, context.verdict, context.rows, context.findings, context.exhibits, context.trust,
        context.checked,
        context.origins, context.take_sets, context.raw_files, context.revisions, context.downloads,
    )  # fmt: skip
    known = known_texts(parts) | {context.build_id, context.program, context.title}
    for page in pdf.pages:
        assert unexplained(page.extract_text(), known) == []


def test_the_pdf_says_every_number_and_every_hash(context: PublicationContext, pdf: PdfReader) -> None:
    text = squeezed("".join(page.extract_text() for page in pdf.pages))
    prose = (
        context.header,
        context.rows,
        context.findings,
        context.trust,
        context.checked,
        context.origins,
        context.take_sets,
    )
    for number in numbers_in(prose):
        assert squeezed(number.text) in text, number
    for file in context.raw_files:
        assert f"{squeezed(file.path)}{file.sha256}" in text


def test_every_link_in_the_pdf_arrives_at_an_entry(context: PublicationContext, pdf: PdfReader) -> None:
    """Where a link leads, the line that stands there is the title of an entry, a part or a raw file."""
    titles = [squeezed(str(o.title)) for o in context.origins]
    titles += [squeezed(str(s.title)) for s in context.take_sets]
    titles += [squeezed(f.path) for f in context.raw_files]
    titles += [squeezed(t) for t in ("Facts of the case", "Why believe it", "Downloads and", "Findings")]
    arrived: set[str] = set()
    lines = {page.indirect_reference.idnum: _lines(page) for page in pdf.pages if page.indirect_reference}
    for page in pdf.pages:
        for note in page.get("/Annots", ()):
            link = cast("dict[str, Any]", note.get_object())
            if "/Dest" not in link or link["/Subtype"] != "/Link":
                continue
            target = link["/Dest"]
            if isinstance(target, str):
                target = pdf.named_destinations[target].dest_array
            where, _, x, y, *_ = target
            there = [t for (left, top), t in lines[where.idnum] if abs(left - x) < 2 and -2 < y - top < 24]
            found = [t for t in titles if any(squeezed(one).startswith(t[:20]) for one in there)]
            assert found, (there, x, y)
            arrived.update(found)
    assert {squeezed(str(o.title)) for o in context.take_sets} <= arrived
    used = {squeezed(context.raw_file(t).path) for o in context.origins for t in o.takes}
    assert used <= arrived


def _lines(page: Any) -> list[tuple[tuple[float, float], str]]:
    """Where each run of text begins, in points from the lower left corner, and what it says."""
    found: dict[tuple[float, float], str] = {}

    def seen(text: str, user: list[float], matrix: list[float], *_: Any) -> None:
        x = matrix[4] * user[0] + matrix[5] * user[2] + user[4]
        y = matrix[4] * user[1] + matrix[5] * user[3] + user[5]
        if text.strip():
            place = (round(x, 1), round(y, 1))
            found[place] = found.get(place, "") + text

    page.extract_text(visitor_text=seen)
    return sorted(found.items())


def test_nothing_is_made_of_nothing(case: CaseOnDisk) -> None:
    assert all(math.isfinite(float(data.attrib["value"])) for _, data in _numbers(case))
