from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from turned_case import EDGES_DEG, orbits, turned_case

from earwitness.case.datasets import load_curves, load_responses
from earwitness.case.manifest import new_case, read_facts
from earwitness.case.takes import read_takes
from earwitness.pipeline.build import build
from earwitness.pipeline.orientation import turned
from earwitness.publication.from_case import publish_case
from earwitness.records.facts import Rig
from earwitness.records.takes import EVERY_PART, Direction, Orbit, Take, TakeKey, TakeKind

H, V = Orbit.HORIZONTAL, Orbit.VERTICAL


DOCS = Path(__file__).parents[2] / "docs"


def take(orbit: Orbit, angle_deg: float) -> Take:
    return Take(f"{orbit}_{angle_deg:g}.txt", TakeKey(TakeKind.RESPONSE, Direction(orbit, angle_deg)))


def angles(takes: tuple[Take, ...]) -> list[float | None]:
    return [t.key.direction.angle_deg if t.key.direction else None for t in takes]


@pytest.mark.parametrize(
    ("rig", "horizontal", "vertical"),
    [
        (Rig(), 30.0, 20.0),
        (Rig(positive_horizontal="left", positive_vertical="up"), 30.0, 20.0),
        (Rig(positive_horizontal="right"), -30.0, 20.0),
        (Rig(positive_vertical="down"), 30.0, -20.0),
        (Rig(positive_horizontal="right", positive_vertical="down"), -30.0, -20.0),
    ],
)
def test_angles_are_turned_as_declared(rig: Rig, horizontal: float, vertical: float) -> None:
    found = turned((take(H, 30.0), take(V, 20.0), take(H, 180.0), take(H, 0.0), take(V, 180.0)), rig)
    assert angles(found) == [horizontal, vertical, 180.0, 0.0, 180.0]


def test_files_that_state_their_positions_are_not_turned() -> None:
    whole = Take("sphere.sofa", TakeKey(TakeKind.RESPONSE), EVERY_PART)
    noise = Take("noise.wav", TakeKey(TakeKind.NOISE))
    assert turned((whole, noise), Rig(positive_horizontal="right")) == (whole, noise)


#: What is declared, and whether that turns the horizontal and the vertical orbit.
DECLARED = {
    "": (False, False),
    'positive_horizontal = "right"': (True, False),
    'positive_horizontal = "left"\npositive_vertical = "down"': (False, True),
}


@pytest.mark.parametrize(("rig", "against"), DECLARED.items(), ids=["nothing", "right", "left and down"])
def test_an_asymmetric_loudspeaker_shows_the_sign(
    tmp_path: Path, rig: str, against: tuple[bool, bool]
) -> None:
    """The wider side, at the files' positive angles, is found where the case declares it."""
    case = turned_case(tmp_path, orbits(), rig=rig)
    build(case.root)
    curves = load_curves(case.curves)
    for orbit, other_way in zip(Orbit, against, strict=True):
        chart = curves.coverage[str(orbit)]
        # straight in dB between directions 10° apart, and the text has four decimals; the third octave at
        # either end of the band isn't known
        inside = (curves.frequency_hz > 30.0) & (curves.frequency_hz < 15_000.0)
        np.testing.assert_allclose(chart.positive_deg[inside], EDGES_DEG[orbit, not other_way], atol=0.01)
        np.testing.assert_allclose(chart.negative_deg[inside], EDGES_DEG[orbit, other_way], atol=0.01)
    responses = load_responses(case.responses)
    by_path = {t.path: t.key.direction for t in responses.takes}
    assert by_path["horizontal_+030_2.83V.txt"] == Direction(H, -30.0 if against[0] else 30.0)
    stated = {t.path: t.key.direction for t in read_takes(case)}
    assert stated["horizontal_+030_2.83V.txt"] == Direction(H, 30.0)


@pytest.mark.parametrize(
    ("rig", "said"),
    [
        ("", ["not declared; taken for the loudspeaker’s left", "not declared; taken for up"]),
        (
            'positive_horizontal = "right"\npositive_vertical = "up"',
            [
                "the loudspeaker’s right in the files, as the case declares; "
                "turned here: the loudspeaker’s left",
                "up, as the case declares",
            ],
        ),
    ],
)
def test_the_page_says_who_says_so(tmp_path: Path, rig: str, said: list[str]) -> None:
    directions = [d for d in orbits() if abs(d.angle_deg) in (0.0, 10.0)]
    case = turned_case(tmp_path, directions, rig=rig)
    build(case.root)
    page = publish_case(case.root).page.read_text(encoding="utf-8")
    found = re.findall(r"Positive angles, [^<]*</dt>\s*<dd>(.*?)</dd>", page, re.DOTALL)
    assert [re.sub(r"<[^>]+>", "", text).strip() for text in found] == said


def test_the_examples_of_the_documentation_hold(tmp_path: Path) -> None:
    """Two of them stand on the page about the case, before those of the gate."""
    found = re.findall(
        r"```toml\n(\[(?:rig|unit)\]\n.*?)```", (DOCS / "case.md").read_text("utf-8"), re.DOTALL
    )
    case = new_case(tmp_path / "case", "Lopsided One")
    rig, unit, gate = found
    case.case_toml.write_text(f'{unit}name = "Lopsided One"\n{rig}', encoding="utf-8")
    facts = read_facts(case)
    assert (facts.rig.positive_horizontal, facts.rig.positive_vertical) == ("right", "up")
    assert facts.unit.symmetry == ("left-right",)
    case.case_toml.write_text(f'{unit}name = "Lopsided One"\n{gate}', encoding="utf-8")
    rig_facts = read_facts(case).rig
    assert (rig_facts.gate_s, rig_facts.gate_cycles, rig_facts.ground_plane) == (0.005, 10, True)


def test_every_key_of_a_new_case_says_how_it_is_stated(tmp_path: Path) -> None:
    text = new_case(tmp_path / "case", "Lopsided One").case_toml.read_text(encoding="utf-8")
    for line in (
        '# positive_horizontal = "left"',
        '# positive_vertical = "up"',
        '# symmetry = ["left-right"]',
    ):
        assert line in text
