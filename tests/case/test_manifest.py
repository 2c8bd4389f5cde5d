from __future__ import annotations

import dataclasses
import datetime as dt
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from earwitness.case.fact_types import keys_at
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case, read_facts
from earwitness.records.errors import CallError, CaseError
from earwitness.records.facts import (
    Box,
    CaseFacts,
    Claim,
    Disclosure,
    Radiator,
    Rig,
    Sphere,
    StatedUncertainty,
    Unit,
)


def state(case: CaseFolder, text: str) -> None:
    case.case_toml.write_text(text, encoding="utf-8")


def uncommented(template: str) -> str:
    """The template with every line stated that can be, and the box left out for the sphere."""
    lines = re.sub(r"^# (?=[a-z_]+ = |\[\[)", "", template, flags=re.MULTILINE).split("\n")
    return "\n".join(line for line in lines if 'shape = "box"' not in line)


def test_a_new_case_states_its_name_and_nothing_else(case: CaseFolder) -> None:
    assert read_facts(case) == CaseFacts(unit=Unit(name="Cobble Two"))
    assert case.raw.is_dir()
    assert case.testimony.is_dir()
    assert case.verdict.read_bytes() == b""
    assert tomllib.loads(case.takes_toml.read_text("utf-8")) == {}
    assert tomllib.loads(case.revisions.read_text("utf-8")) == {}


@pytest.mark.parametrize(
    "name", ['"><script>alert(1)</script>', '#read("/etc/passwd")', "Ü" * 60, 'it\'s \\ "quoted"', "@NAME@"]
)
def test_any_printable_name_comes_back(tmp_path: Path, name: str) -> None:
    assert read_facts(new_case(tmp_path / "c", name)).unit.name == name


@pytest.mark.parametrize("name", ["", "  ", "two\nlines", "bell\a", "x" * 301])
def test_refuses_a_name_that_is_no_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(CallError, match="one line"):
        new_case(tmp_path / "c", name)
    assert not (tmp_path / "c").exists()


def test_starts_in_an_empty_folder_but_in_no_other(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert new_case(tmp_path / "empty", "A").case_toml.is_file()
    before = (tmp_path / "empty" / "case.toml").read_bytes()
    for path in (tmp_path / "empty", tmp_path / "empty" / "case.toml"):
        with pytest.raises(CallError, match="there already"):
            new_case(path, "B")
    assert (tmp_path / "empty" / "case.toml").read_bytes() == before


def test_the_template_shows_every_key_of_the_facts(case: CaseFolder) -> None:
    template = case.case_toml.read_text("utf-8")
    for record in (CaseFacts, Unit, Sphere, Box, Radiator, Disclosure, Claim, Rig, StatedUncertainty):
        for field in dataclasses.fields(record):
            pattern = rf"(^|[# {{,\[.]){field.name}( =|\]\])|^\[{field.name}\]"
            assert re.search(pattern, template, re.MULTILINE), field.name


def test_the_template_with_everything_stated_is_a_case(case: CaseFolder) -> None:
    state(case, uncommented(case.case_toml.read_text("utf-8")))
    facts = read_facts(case)
    assert facts.unit.price_date == dt.date(2026, 11, 2)
    assert facts.unit.cabinet == Sphere(diameter_m=0.28)
    assert facts.unit.radiators == (
        Radiator("woofer", 0.11, up_m=-0.05, left_m=0.0),
        Radiator("lower_woofer", 0.11, up_m=-0.2, same_as="woofer"),
    )
    assert facts.rig.distance_m == 2.0
    assert facts.uncertainty.temperature_k == 1.0
    assert facts.claims[1].per == "voltage"
    assert facts.claims[2].band_hz == (60.0, 20_000.0)


def test_the_template_warns_where_levels_are_chosen(case: CaseFolder) -> None:
    for file in (case.case_toml, case.takes_toml):
        text = file.read_text("utf-8")
        assert "Caution" in text
        assert "hearing" in text
        assert "Local law and qualified advice come first" in re.sub(r"\n# ", " ", text)


REFUSED = [
    ("", "unit: is missing"),
    ("[unit]\n", "line 1, unit.name: is missing"),
    ('[unit]\nnme = "x"\n', "line 2, unit.nme: is no key of a case; did you mean name?"),
    ('[unit]\nname = "x"\n\n[rigg]\n', "line 4, rigg: is no key of a case; did you mean rig?"),
    ('[unit]\nname = "x"\nzzz = 1\n', "the keys here are active, cabinet"),
    ("[unit]\nname = 3\n", "line 2, unit.name: isn't text"),
    ("[unit]\nname = 2026-01-01\n", "unit.name: is a date or time where none is expected"),
    ('[unit]\nname = "x"\nprice_date = 2026-01-01T10:00:00\n', "unit.price_date: is a date or time"),
    ('[unit]\nname = "x"\nprice_date = "soon"\n', "unit.price_date: isn't a date"),
    ('[unit]\nname = "x"\nprice = "480"\n', "line 3, unit.price: isn't a number"),
    ('[unit]\nname = "x"\nprice = true\n', "unit.price: isn't a number"),
    ('[unit]\nname = "x"\nprice = nan\n', "unit.price: isn't a finite number"),
    ('[unit]\nname = "x"\nprice = -1\n', "unit.price: is under 0"),
    ('[unit]\nname = "x"\nrated_impedance_ohm = inf\n', "isn't a finite number"),
    ('[unit]\nname = "x"\nactive = 1\n', "unit.active: is neither true nor false"),
    ('[unit]\nname = "x"\ncabinet = { shape = "cone" }\n', "unit.cabinet: has no such shape"),
    ('[unit]\nname = "x"\ncabinet = { diameter_m = 1 }\n', "unit.cabinet: doesn't say its shape"),
    (
        '[unit]\nname = "x"\ncabinet = { shape = "box", width_m = 1, heigth_m = 1, depth_m = 1 }\n',
        "line 3, unit.cabinet.heigth_m: is no key of a case; did you mean height_m?",
    ),
    (
        '[unit]\nname = "x"\n[[unit.radiators]]\nname = "a"\ndiameter_m = 1\n'
        '[[unit.radiators]]\nname = "b"\ndiameter_m = 0\n',
        "line 8, unit.radiators.2.diameter_m: isn't over 0",
    ),
    (
        '[unit]\nname = "x"\n[[unit.radiators]]\nname = "a"\ndiameter_m = 1\n'
        '[[unit.radiators]]\nname = "a"\ndiameter_m = 1\n',
        "line 7, unit.radiators.2.name: 'a' stands twice",
    ),
    (
        '[unit]\nname = "x"\n[[unit.radiators]]\nname = "a"\ndiameter_m = 1\nsame_as = "a"\n'
        '[[unit.radiators]]\nname = "b"\ndiameter_m = 1\n',
        "line 6, unit.radiators.1.same_as: 'a' is no other radiator of the case; the others are b",
    ),
    (
        '[unit]\nname = "x"\n[[unit.radiators]]\nname = "a"\ndiameter_m = 1\n'
        '[[unit.radiators]]\nname = "b"\ndiameter_m = 1\nsame_as = "a"\n'
        '[[unit.radiators]]\nname = "c"\ndiameter_m = 1\nsame_as = "b"\n',
        "line 13, unit.radiators.3.same_as: b is itself stated as the same as a; name a",
    ),
    (
        '[unit]\nname = "x"\n[[unit.radiators]]\nname = "a"\ndiameter_m = 1\n'
        '[[unit.radiators]]\nname = "b"\ndiameter_m = 2\nsame_as = "a"\n',
        "line 9, unit.radiators.2.same_as: b and a have different diameters, so they aren't the same",
    ),
    ('[unit]\nname = "x"\n[[unit.radiators]]\nname = "A b"\ndiameter_m = 1\n', "isn't a plain name"),
    ('number = 1.5\n[unit]\nname = "x"\n', "line 1, number: isn't a whole number"),
    ('rig = 3\n[unit]\nname = "x"\n', "line 1, rig: isn't a table"),
    ('[unit]\nname = "x"\n[claims]\n', "line 3, claims: isn't a list"),
    (
        '[unit]\nname = "x"\n[[claims]]\ntext = "t"\nfigure = "f4"\nvalue = 1\n',
        "line 5, claims.1.figure: isn't one",
    ),
    (
        '[unit]\nname = "x"\n[[claims]]\ntext = "t"\nfigure = "f3"\nvalue = 1\nband_hz = [200, 100]\n',
        "line 7, claims.1.band_hz: runs backwards",
    ),
    ('[unit]\nname = "x"\n[rig]\ntemperature_c = 60\n', "line 4, rig.temperature_c: isn't under 60"),
    ('[unit]\nname = "x"\n[rig]\ntemperature_c = -40\n', "line 4, rig.temperature_c: isn't over -40"),
    (f'[unit]\nname = "{"x" * 301}"\n', "unit.name: is longer than 300 characters"),
    ('[unit]\nname = "x\n', "line 2, column"),
    ("a = " + "[" * 3000 + "]" * 3000, "isn't valid TOML"),
    ("a = " + "9" * 5000, "isn't valid TOML"),
    ("# " + "x" * 9000, "line 1: is longer than 8192 characters"),
]


@pytest.mark.parametrize(("text", "message"), REFUSED)
def test_refuses_with_line_key_and_remedy(case: CaseFolder, text: str, message: str) -> None:
    state(case, text)
    with pytest.raises(CaseError) as caught:
        read_facts(case)
    assert message in str(caught.value)
    assert str(caught.value).startswith("case.toml")
    assert caught.value.remedy
    assert not re.search(r"Input should|pydantic|Field required", str(caught.value))


def test_refuses_what_is_no_text_file(case: CaseFolder) -> None:
    for content, message in (
        (b"\n\xff", "line 2: isn't UTF-8"),
        (b"#" * 100 + b"\n" * (1 << 20), "over 1 MiB"),
    ):
        case.case_toml.write_bytes(content)
        with pytest.raises(CaseError, match=message):
            read_facts(case)
    case.case_toml.unlink()
    with pytest.raises(CaseError, match="can't be opened"):
        read_facts(case)


def test_keys_come_from_the_types() -> None:
    assert keys_at(("unit", "cabinet", "sphere")) == ("diameter_m", "shape")
    assert keys_at(("claims", 0)) == tuple(sorted(f.name for f in dataclasses.fields(Claim)))
    everything: Any = keys_at(())
    assert everything == tuple(sorted(f.name for f in dataclasses.fields(CaseFacts)))
