"""Part seven's points of quality: state in words, what to do, picture; none where none were checked."""

from __future__ import annotations

import importlib
import io
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import Element

import pytest
from prose import Prose, text_of
from publishable import build_folder, built, case_files, quality
from pypdf import PdfReader

from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.data_pack import data_pack
from earwitness.publication.page import page
from earwitness.publication.pdf import report
from earwitness.publication.pictures import picture_path, pictures
from earwitness.publication.quality import METHODS, quality_part
from earwitness.records.errors import IntegrityError
from earwitness.records.quality import PointName, Quality, Verdict
from earwitness.records.sentences import Number, say


@pytest.fixture(scope="module")
def prose(context: PublicationContext) -> Prose:
    return Prose(page(context))


def points(prose: Prose) -> list[Element]:
    return [e for e in prose.root.iter("li") if e.get("class", "").startswith("check ")]


def test_what_wants_attention_stands_first_and_says_so_in_words(prose: Prose) -> None:
    shown = [(e.attrib["id"], e.attrib["class"].split()[1], text_of(e[0])) for e in points(prose)]
    assert shown == [
        ("check-first_against_last", "unfit", "unfit"),
        ("check-orbits", "look", "to look at"),
        ("check-repeats", "cannot_tell", "can’t tell"),
        ("check-signal_to_noise", "fine", "fine"),
    ]
    # The sign is of no colour and isn't read out.
    assert all(e.find("p/span").get("aria-hidden") == "true" for e in points(prose))  # type: ignore[union-attr]


def test_data_that_are_unfit_are_said_to_be_before_any_figure(
    prose: Prose, context: PublicationContext
) -> None:
    opening = text_of(prose.root).index("aren’t fit to conclude from: first against last")
    assert opening < text_of(prose.root).index(str(context.rows[0].label))
    assert prose.entry("unfit").find("a[@href='#what-was-checked']") is not None
    told = PdfReader(io.BytesIO(report(context, pictures(context)))).pages[0].extract_text()
    assert "fit to conclude from: first against last" in " ".join(told.split())


def test_data_that_are_fit_need_no_word_before_the_figures() -> None:
    fit = tuple(p for p in quality().points if p.verdict is not Verdict.UNFIT)
    prose = Prose(page(assemble(case_files(), replace(built(), quality=replace(quality(), points=fit)))))
    assert "unfit" not in prose.ids


def test_every_point_says_what_was_found_its_limit_and_what_to_do(prose: Prose) -> None:
    told = {e.attrib["id"]: " ".join(text_of(e).split()) for e in points(prose)}
    assert "The last take is 1.4 dB quieter than the first." in told["check-first_against_last"]
    assert "What to do. Let it cool and take it again." in told["check-first_against_last"]
    assert "to look at from 1.0 dB (defined here)" in told["check-signal_to_noise"]
    assert "What to do." not in told["check-signal_to_noise"]
    assert "Limit" not in told["check-repeats"]


def test_pictures_stand_open_where_attention_is_wanted_and_folded_elsewhere(prose: Prose) -> None:
    folded = {f.attrib["id"] for d in prose.root.iter("details") for f in d.iter("figure")}
    shown = {f.attrib["id"] for e in points(prose) for f in e.iter("figure")}
    assert shown - folded == {"exhibit-quality-first-against-last", "exhibit-quality-orbits"}
    assert folded == {"exhibit-quality-signal-to-noise"}


def test_the_still_of_each_is_drawn_and_its_alternative_holds_the_numbers(
    context: PublicationContext, prose: Prose
) -> None:
    assert context.checked is not None
    drawn = pictures(context).stills
    for exhibit in context.checked.exhibits:
        figure = prose.entry(f"exhibit-{exhibit.id}")
        image = figure.find("img")
        assert image is not None
        assert image.attrib["src"] == picture_path(exhibit)
        assert drawn[picture_path(exhibit)].startswith(b"<?xml")
        point = next(one for one in context.checked.lines if one.picture == exhibit)
        assert [n for n in point.text.numbers if n.text not in image.attrib["alt"]] == []
    letters = [e.letter for e in context.pictured]
    assert len(letters) == len(set(letters))
    # In the order in which a reader meets them.
    shown = [f.attrib["id"].removeprefix("exhibit-") for e in points(prose) for f in e.iter("figure")]
    assert shown == [e.id for e in context.checked.exhibits]
    assert letters == sorted(letters, key=lambda letter: (len(letter), letter))


def test_a_number_of_a_point_leads_to_its_code_its_file_and_its_takes(
    context: PublicationContext, prose: Prose
) -> None:
    found = {origin.anchor: origin for origin in context.origins}["from-quality-first-against-last"]
    assert str(found.value) == "unfit"
    assert found.method == "pipeline.points.sameness.first_last"
    assert [context.raw_file(take).path for take in found.takes] == [t.path for t in case_files().takes[:2]]
    links = [a for e in points(prose) for a in e.iter("a") if a.get("class") == "n"]
    assert links
    for link in links:
        data = link[0].attrib["data-ref"]
        name = data.removeprefix("quality:").split("/")[0].replace("_", "-")
        assert link.attrib["href"] == f"#from-quality-{name}"
        assert prose.entry(f"from-quality-{name}").tag == "details"


def test_every_point_has_its_code() -> None:
    assert set(METHODS) == set(PointName)
    for path in METHODS.values():
        module, _, function = path.rpartition(".")
        assert callable(getattr(importlib.import_module(f"earwitness.{module}"), function))


def test_takes_whose_files_are_not_listed_are_left_out() -> None:
    part = quality_part(quality(), listed={case_files().takes[0].id})
    assert [one.takes for one in part.lines if one.takes] == [(case_files().takes[0].id,)] * 3


def test_where_nothing_was_checked_there_is_no_section(half_empty: PublicationContext) -> None:
    assert half_empty.checked is None
    bare = Prose(page(half_empty))
    assert points(bare) == []
    assert "what-was-checked" not in bare.ids
    assert half_empty.pictured == half_empty.exhibits


def test_the_pack_holds_the_points_where_there_are_any(
    context: PublicationContext, half_empty: PublicationContext, tmp_path: Path
) -> None:
    folder = build_folder(tmp_path / "build")
    assert "quality.json" in data_pack(context, folder)
    assert b"quality.json" in data_pack(context, folder)["README.txt"]
    assert "quality.json" not in data_pack(half_empty, folder)
    assert b"quality.json" not in data_pack(half_empty, folder)["README.txt"]


def test_one_take_of_which_nothing_can_be_told() -> None:
    lone = Quality(1, "0" * 16, "specimen", (quality().points[2],))
    prose = Prose(page(assemble(case_files(), replace(built(), quality=lone))))
    (only,) = points(prose)
    assert only.attrib["id"] == "check-repeats"
    assert "can’t be told from what was measured" in text_of(prose.root)


def test_a_number_that_is_not_what_the_file_says_is_refused() -> None:
    first, *rest = quality().points
    wrong = replace(first, verdict=Verdict.LOOK, sentence=say(Number("9 dB", 9.0, "quality:orbits/found_db")))
    with pytest.raises(IntegrityError, match="build again"):
        assemble(case_files(), replace(built(), quality=replace(quality(), points=(wrong, *rest))))
