"""From two recorded channels to the sentence on the page, with the commands' own functions."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from earwitness.case.manifest import new_case
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import accept, look_at
from earwitness.publication.from_case import publish_case
from earwitness.records.takes import ReadOptions
from earwitness.virtual.electrical import Circuit, Meter
from earwitness.virtual.scenario import load

pytestmark = pytest.mark.slow
READ: ReadOptions = (
    ("current", 2),
    ("current_full_scale_v", 0.25),
    ("sense_ohm", 0.5),
    ("voltage", 1),
    ("voltage_full_scale_v", 2.0),
)


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A case of `flute` with three directions, near fields and an impedance, with its publication."""
    folder = tmp_path_factory.mktemp("impedance")
    root, recordings = folder / "case", folder / "recordings"
    scenario = load("flute")
    new_case(root, scenario.unit_name, {"case.toml": scenario.facts.read_text(encoding="utf-8")})
    turned = ("horizontal_+000", "horizontal_+030", "horizontal_-030")
    others = ("horiz", "vert", "impedance")
    wanted = [n for n in scenario.names if n.startswith(turned) or not n.startswith(others)]
    scenario.record(recordings, only=wanted)
    meter = Meter(0.5, 2.0, 0.25, 0.5, noise_v=2e-5)
    chain = replace(scenario.session.workshop.chain, output_ohm=0.2)
    circuit = Circuit(meter, chain, scenario.session.tail_s, 3)
    heard = circuit.loudspeaker(scenario.loudspeaker, scenario.air, scenario.session.sweep, "impedance")
    accept(root, look_at(root, [recordings]))
    circuit.write(folder / "impedance_0.5V.wav", heard)
    accept(root, look_at(root, [folder / "impedance_0.5V.wav"], read=READ))
    build(root)
    publish_case(root)
    return root


def test_the_sentence_stands_on_the_page(published: Path) -> None:
    """The least of the scenario's own impedance, on a fine grid."""
    scenario = load("flute")
    hertz = np.geomspace(20.0, 20_000.0, 40_001)
    ohms = np.abs(scenario.loudspeaker.impedance(hertz, scenario.air))
    page = (published / "publication" / "index.html").read_text(encoding="utf-8")
    findings = json.loads((published / "build" / "findings.json").read_text(encoding="utf-8"))["findings"]
    (least,) = [one for one in findings if one["id"] == "figure-impedance_minimum"]
    told = [part["value"] for part in least["statement"]["parts"] if part["kind"] == "number"]
    assert told[0] == pytest.approx(ohms.min(), rel=5e-3)
    assert told[2] == pytest.approx(hertz[np.argmin(ohms)], rel=0.01)
    assert "The impedance falls to" in page
    assert "impedance.svg" in page
    assert "no such take" not in page


def test_what_other_programs_read(published: Path) -> None:
    pack = published / "publication" / "data"
    rows = list(csv.DictReader(io.StringIO((pack / "impedance.csv").read_text(encoding="utf-8"))))
    scenario = load("flute")
    hertz = np.array([float(row["frequency_hz"]) for row in rows])
    magnitude = np.array([float(row["magnitude_ohm"]) for row in rows])
    truth = np.abs(scenario.loudspeaker.impedance(hertz, scenario.air))
    np.testing.assert_allclose(magnitude, truth, rtol=5e-3)
    assert "impedance.csv" in (pack / "README.txt").read_text(encoding="utf-8")


def test_a_wrong_channel_is_refused_before_it_is_in_the_case(published: Path) -> None:
    file = published.parent / "impedance_0.5V.wav"
    other = file.with_name("impedance_0.5V_repeat2.wav")
    other.write_bytes(file.read_bytes())
    wrong = tuple((key, 1 if key == "current" else value) for key, value in READ)
    (doubt,) = look_at(published, [other], read=wrong).doubts
    assert "has channel 1 stated as voltage and as current" in str(doubt.problem)
