"""Two surfaces on the page: what was taken and what was refused; the picture draws the latter thin."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from prose import Prose, squeezed, text_of, with_digits
from publishable import built, case_files
from pypdf import PdfReader

from earwitness.exhibits import matplotlib, plotly
from earwitness.exhibits.description import Role
from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.origins import numbers_in
from earwitness.publication.page import page
from earwitness.publication.pdf import report
from earwitness.publication.pictures import picture_path, pictures
from earwitness.publication.told_apart import separation_part
from earwitness.records.responses import Origin, ToldApart

HZ = np.array([50.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0])


def told() -> ToldApart:
    """Refused at 50 Hz, from 200 to 300 Hz and at 600 Hz."""
    return ToldApart(
        frequency_hz=HZ,
        order=np.array([3.0, 3.0, 4.0, 4.0, 5.0, 6.0, 7.0]),
        condition=np.array([500.0, 20.0, 130.0, np.inf, 40.0, 12.5, 8.0]),
        residual=np.array([0.01, 0.02, 0.01, 0.9, 0.0125, 0.03, 0.2]),
        taken=np.array([False, True, False, False, True, True, False]),
    )


@pytest.fixture(scope="module")
def with_surfaces() -> PublicationContext:
    made = built()
    return assemble(case_files(), replace(made, responses=replace(made.responses, told_apart=told())))


def test_the_sentence_names_what_was_taken_and_what_was_refused() -> None:
    part = separation_part(told(), after=3)
    assert part is not None
    assert str(part.sentence) == (
        "Two surfaces tell the loudspeaker’s waves from the room’s from 100 Hz to 500 Hz, by orders 3 to 6, "
        "with a condition of no more than 40.0 and a residual of no more than 0.0300 of the pressures. "
        "Refused between: 200 Hz to 300 Hz."
    )
    assert part.exhibit.letter == "D"
    alike = separation_part(replace(told(), order=np.full(7, 5.0)))
    assert alike is not None
    assert "to 500 Hz, by order 5, with" in str(alike.sentence)


def test_the_picture_has_nothing_refused_in_its_strong_lines() -> None:
    part = separation_part(told())
    assert part is not None
    assert [panel.id for panel in part.exhibit.panels] == ["order", "condition", "residual"]
    for panel in part.exhibit.panels:
        strong, thin = panel.lines[:2]
        assert (strong.role, thin.role) == (Role.ON_AXIS, Role.QUIET)
        assert HZ[np.isfinite(strong.y)].tolist() == [100.0, 400.0, 500.0]
        assert HZ[np.isfinite(thin.y)].tolist() == [50.0, 200.0, 300.0, 600.0]
    _, condition, residual = part.exhibit.panels
    # What lies above the panel stands at its edge.
    assert np.nanmax(condition.lines[1].y) == condition.y_axis.maximum
    assert residual.lines[0].y[1] == pytest.approx(2.0)
    assert [panel.lines[-1].label for panel in (condition, residual)] == ["limit", "limit"]
    assert matplotlib.draw(part.exhibit).startswith(b"<?xml")
    assert plotly.interactive(part.exhibit)


def test_at_no_frequency() -> None:
    part = separation_part(replace(told(), taken=np.zeros(7, dtype=bool)))
    assert part is not None
    assert str(part.sentence).endswith("at no frequency.")
    assert not list(numbers_in(part.sentence))
    assert [line.label for line in part.exhibit.panels[0].lines] == ["refused"]
    assert separation_part(None) is None
    none = ToldApart(*(np.zeros(0),) * 4, taken=np.zeros(0, dtype=bool))
    assert separation_part(none) is None


def test_what_was_told_but_stands_in_no_curve() -> None:
    part, apart = separation_part(told()), separation_part(told(), joined=False)
    assert part is not None
    assert apart is not None
    assert str(apart.sentence).removeprefix(str(part.sentence)).startswith(" None of it stands in the curves")
    nowhere = separation_part(replace(told(), taken=np.zeros(7, dtype=bool)), joined=False)
    assert nowhere is not None
    assert str(nowhere.sentence).endswith("at no frequency.")


@pytest.mark.parametrize("origin", [Origin.SEPARATED, Origin.GATED])
def test_the_page_knows_whether_the_curves_rest_on_surfaces(origin: Origin) -> None:
    made = built()
    responses = replace(made.responses, told_apart=told())
    responses.origin[:, :100] = origin
    context = assemble(case_files(), replace(made, responses=responses))
    assert context.separation is not None
    said = "None of it stands in the curves" in str(context.separation.sentence)
    assert said == (origin is Origin.GATED)


def test_page_and_report_show_it(with_surfaces: PublicationContext) -> None:
    context = with_surfaces
    assert context.separation is not None
    prose = Prose(page(context))
    figure = prose.entry("exhibit-separation")
    image = figure.find("img")
    assert image is not None
    assert image.attrib["src"] == picture_path(context.separation.exhibit)
    assert "Refused between: 200 Hz to 300 Hz." in image.attrib["alt"]
    assert "What two surfaces tell" in text_of(prose.root)
    assert with_digits(prose.loose) == []
    assert prose.links <= prose.ids
    for number in numbers_in(context.separation):
        assert context.resolve(number.reference) == pytest.approx(number.value, rel=1e-12)
    pdf = PdfReader(io.BytesIO(report(context, pictures(context))))
    text = squeezed("".join(one.extract_text() for one in pdf.pages))
    assert squeezed(str(context.separation.sentence)) in text


def test_without_surfaces_nothing_is_said(context: PublicationContext) -> None:
    assert context.separation is None
    assert "two surfaces" not in text_of(Prose(page(context)).root)
