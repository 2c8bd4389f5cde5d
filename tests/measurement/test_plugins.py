"""Readers of other distributions: the one in the documentation, and those that do wrong."""

from __future__ import annotations

import dataclasses
import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import reader_tables
from hypothesis import given
from hypothesis import strategies as st

from earwitness.case.datasets import load_curves
from earwitness.measurement.expansion import _of_part
from earwitness.measurement.given import on_grid
from earwitness.measurement.readers import registry
from earwitness.measurement.readers.contents import (
    Contents,
    Form,
    LevelUnit,
    MeasuredResponse,
    Part,
    Placed,
    Recording,
    Source,
)
from earwitness.measurement.readers.foreign_values import wrong_contents, wrong_signal
from earwitness.measurement.recognition.levels import levels_of
from earwitness.records.curves import CurveName
from earwitness.records.errors import ReadError
from earwitness.records.takes import EVERY_PART, ON_AXIS, Drive, Take, TakeKey, TakeKind

BLOCK = re.compile(r"^`(cobble_reader/[\w.]+)`:\n\n```\w+\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The package that the documentation shows, built and installed into a folder of its own."""
    root = tmp_path_factory.mktemp("plugin")
    blocks = BLOCK.findall(reader_tables.PAGE.read_text(encoding="utf-8"))
    assert [name for name, _ in blocks] == ["cobble_reader/pyproject.toml", "cobble_reader/cobble_reader.py"]
    for name, text in blocks:
        (root / name).parent.mkdir(exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    pip = ["pip", "install", "--quiet", "--no-index", "--no-deps", "--no-build-isolation", "--no-compile"]
    call = [sys.executable, "-m", *pip, "--target", str(root / "site"), str(root / "cobble_reader")]
    done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    return root / "site"


def earwitness(site: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    call = [sys.executable, "-m", "earwitness", *map(str, words)]
    environment = {**os.environ, "PYTHONPATH": str(site)}
    return subprocess.run(call, capture_output=True, text=True, check=False, timeout=120, env=environment)


@pytest.mark.slow
def test_the_documented_reader_reads_a_file_that_is_built(installed: Path, tmp_path: Path) -> None:
    hz = np.geomspace(20.0, 20_000.0, 400)
    file = tmp_path / "horizontal_+000.cobble"
    file.write_text(f'{{"hz": {hz.tolist()}, "spl": {[84.0] * 400}}}', encoding="utf-8")
    root = tmp_path / "case"
    assert earwitness(installed, "new", root).returncode == 0
    facts = (root / "case.toml").read_text(encoding="utf-8")
    (root / "case.toml").write_text(
        re.sub(r"# (distance_m) = .*", r"\1 = 2.0", facts, count=1), encoding="utf-8"
    )
    added = earwitness(installed, "add", root, file, "--drive", "2.83V", "--yes")
    assert added.returncode == 0, added.stderr
    built = earwitness(installed, "build", root)
    assert built.returncode == 0, built.stderr
    curve = load_curves(root / "build" / "curves.nc").curves[CurveName.ON_AXIS]
    assert curve.valid.sum() > 900
    # 84 dB at 2 m are 90.02 dB at 1 m: 20 lg 2 more
    assert np.max(np.abs(curve.level_db[curve.valid] - 90.0206)) < 0.001
    without = earwitness(tmp_path, "build", root)
    assert without.returncode == 2
    assert "horizontal_+000.cobble: .cobble is not a kind of file that is read" in without.stderr


class Entry(metadata.EntryPoint):
    """An entry point that gives what it was made with, or raises it."""

    given: Any

    def load(self) -> Any:
        if isinstance(self.given, BaseException):
            raise self.given
        return self.given


class Plain:
    """A reader that gives what it was made with, or raises it."""

    name = "pebble"
    suffixes = frozenset({".pebble", ".txt"})
    options: Mapping[str, str] = {"loudness": "how loud"}

    def __init__(self, contents: Any, signals: Any) -> None:
        self.contents, self.signals = contents, signals

    def look(self, _source: Source) -> Any:
        if isinstance(self.contents, BaseException):
            raise self.contents
        return self.contents

    def read(self, _source: Source, _selectors: list[str]) -> Any:
        if isinstance(self.signals, BaseException):
            raise self.signals
        return self.signals


HZ = np.array([20.0, 200.0, 2000.0])
DB = np.array([80.0, 84.0, 84.0])
ONE = Contents(Form.RESPONSES, (Part(),))
FLAT = MeasuredResponse(HZ, DB, None, LevelUnit.SPL)


@pytest.fixture
def entries(monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, Any]]:
    """What is installed beside Earwitness, by name."""
    given: dict[str, Any] = {}

    def found(group: str) -> list[Entry]:
        assert group == "earwitness.readers"
        made = []
        for name, reader in given.items():
            entry = Entry(name, "pebble:READER", group)
            vars(entry)["given"] = reader
            made.append(entry)
        return made

    monkeypatch.setattr(registry, "entry_points", found)
    registry._others.cache_clear()
    yield given
    registry._others.cache_clear()


def looked(tmp_path: Path, name: str = "a.pebble", **read: str) -> Contents:
    (tmp_path / name).write_text("20 80\n200 -84\n2000 84\n20000 84\n", encoding="utf-8")
    return registry.look(Source(tmp_path / name, name, tuple(read.items())))


def test_a_reader_that_is_right(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["pebble"] = Plain(ONE, [FLAT])
    assert looked(tmp_path) == ONE
    assert looked(tmp_path, reader="pebble", name="a.wav") == ONE
    assert registry.identity(Source(tmp_path, "a.pebble")) == "pebble"
    assert registry.identity(Source(tmp_path, "a.txt")) == ""
    assert registry.names()[-1] == "pebble"


@pytest.mark.parametrize(
    ("at", "refused"),
    [
        (((30.0, 0.0), (390.0, 0.0)), True),
        (((10.0, 90.0), (200.0, 90.0)), True),
        (((-180.0, 0.0), (180.0, 0.0)), True),
        (((30.0, 0.0), (31.0, 0.0)), False),
        (((30.0, 0.0), (30.0, 10.0)), False),
    ],
)
def test_two_parts_in_one_direction(
    tmp_path: Path, entries: dict[str, Any], at: tuple[tuple[float, float], ...], refused: bool
) -> None:
    parts = tuple(Part(str(i), position_deg=position) for i, position in enumerate(at, 1))
    entries["pebble"] = Plain(Contents(Form.RESPONSES, parts), [FLAT, FLAT])
    if refused:
        with pytest.raises(ReadError, match=r"two responses at .* \('1' and '2'\)"):
            looked(tmp_path)
    else:
        assert len(looked(tmp_path).parts) == 2
    again = (parts[0], Part("2", position_deg=at[1], repeat=2))
    entries["pebble"] = Plain(Contents(Form.RESPONSES, again), [FLAT, FLAT])
    registry._others.cache_clear()
    assert len(looked(tmp_path).parts) == 2


@pytest.mark.parametrize("name", ["hor_2.83V", "hor +30.5", "take"])
def test_a_decimal_is_no_kind_of_file(tmp_path: Path, name: str) -> None:
    with pytest.raises(ReadError, match="its name doesn't say its kind; give one of"):
        looked(tmp_path, name)


def test_our_own_readers_come_first(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["pebble"] = ImportError("no such module")
    entries["text"] = Plain(ONE, [FLAT])
    assert registry.reader_of(Source(tmp_path, "a.txt")).name == "text"
    assert not isinstance(registry.reader_of(Source(tmp_path, "a.txt")), Plain)


def test_two_readers_for_one_kind_of_file(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["pebble"] = Plain(ONE, [FLAT])
    entries["stone"] = Plain(ONE, [FLAT])
    with pytest.raises(
        ReadError, match=r"^a.pebble: is read by more than one reader: pebble, stone; state which"
    ):
        looked(tmp_path)
    assert looked(tmp_path, reader="stone") == ONE


def test_a_broken_reader_stands_in_no_others_way(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["broken"] = SyntaxError("bad")
    entries["pebble"] = Plain(ONE, [FLAT])
    assert looked(tmp_path) == ONE


def test_an_option_that_it_does_not_have(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["pebble"] = Plain(ONE, [FLAT])
    with pytest.raises(
        ReadError, match=r"read.loudnes is no option of a pebble file; did you mean loudness\?"
    ):
        looked(tmp_path, loudnes="1")


def wrong(**changed: Any) -> MeasuredResponse:
    given = {"frequency_hz": HZ, "level_db": DB, "phase_deg": None, "unit": LevelUnit.SPL} | changed
    return MeasuredResponse(**given)


NAN = np.array([80.0, np.nan, 84.0])
SILENT = np.zeros((1, 4), np.float32)
NOWHERE: list[Any] = [
    "here", 2.0, Placed(np.nan), Placed(-2.0), Placed(0.0), Placed("1"), Placed(True), Placed(np.inf),  # type: ignore[arg-type]
    Placed(1.0, np.nan), Placed(1.0, "x"), Placed(1.0, None, 1),  # type: ignore[arg-type]
]  # fmt: skip
NO_PART: list[tuple[dict[str, Any], str]] = [
    *(
        ({"position_deg": position}, "says a position_deg that is no azimuth and elevation")
        for position in (
            ("a", "b"),
            (np.nan, 0.0),
            (0.0, 91.0),
            (0.0,),
            (0.0, 0.0, 1.0),
            30.0,
            "30",
            [0.0, 0.0],
        )
    ),
    *(({"kind": kind}, "says a kind that is no TakeKind") for kind in ("sweep", 1)),
    *(
        ({"drive": drive}, "says a drive that is none")
        for drive in (2.83, "2.83 V", Drive(np.nan), Drive(-1.0), Drive(1.0, "dBFS"))
    ),
    *(({"repeat": repeat}, "says a repeat that is no whole number") for repeat in (0, 1.5, True, "2", None)),
    *(({"direction": direction}, "says a direction that is none") for direction in ("horizontal", 30.0)),
]


def said(**field: Any) -> Contents:
    return Contents(Form.RESPONSES, (Part(**field),))


PLAIN = "tell its author, update or uninstall it"


@pytest.mark.parametrize(
    ("reader", "problem"),
    [
        (ImportError("no module named 'stone'"), "fails with ImportError: no module named 'stone'"),
        (SystemExit(3), "fails with SystemExit: 3"),
        (object(), "has no name"),
        (
            Plain(ZeroDivisionError("division\nby zero"), []),
            r"fails with ZeroDivisionError: division\nby zero",
        ),
        (Plain(ONE, RecursionError("too deep")), "fails with RecursionError: too deep"),
        (Plain(None, [FLAT]), "says NoneType instead of Contents"),
        (Plain(Contents(Form.SOUND, ()), []), "says neither sound nor responses, or no parts"),
        (Plain(Contents(Form.SOUND, (Part("a"), Part("a"))), []), "says two parts of the same name"),
        (Plain(Contents(Form.SOUND, (Part("*"),)), []), "or one that is called *"),
        (Plain(Contents(Form.SOUND, (Part("a\nb"),)), []), "says words that are no line of text"),
        (Plain(Contents(Form.SOUND, (Part(words="a" * 2000),)), []), "says words that are no line of text"),
        (Plain(Contents(Form.SOUND, ("a",)), []), "says a part that is none"),  # type: ignore[arg-type]
        (
            Plain(Contents(Form.SOUND, (Part(),)), [FLAT]),
            "says that it holds sound, and reads something else",
        ),
        (Plain(ONE, None), "fails with TypeError"),
        (Plain(ONE, []), "gives 0 of 1 parts"),
        (Plain(ONE, [FLAT, FLAT]), "gives 2 of 1 parts"),
        (Plain(ONE, ["x"]), "gives str instead of a Recording or a MeasuredResponse"),
        (Plain(ONE, [wrong(level_db=DB * np.array([1.0, np.nan, np.nan]))]), "gives levels that no response"),
        (Plain(ONE, [wrong(level_db=DB * np.array([1.0, np.inf, 1.0]))]), "gives values that are no numbers"),
        (Plain(ONE, [wrong(phase_deg=NAN)]), "gives values that are no numbers"),
        (Plain(ONE, [wrong(frequency_hz=HZ[::-1])]), "gives frequencies that don't rise"),
        (Plain(ONE, [wrong(frequency_hz=HZ - 20.0)]), "gives frequencies that don't rise"),
        (Plain(ONE, [wrong(frequency_hz=HZ * 1e3)]), "gives frequencies that don't rise"),
        (Plain(ONE, [wrong(frequency_hz=None)]), "gives values that aren't float64"),
        (Plain(ONE, [wrong(level_db=DB[:2])]), "gives arrays of other lengths"),
        (Plain(ONE, [wrong(level_db=DB.astype(np.float32))]), "gives values that aren't float64"),
        (Plain(ONE, [wrong(level_db=DB * 10.0)]), "gives levels that no response has"),
        (Plain(ONE, [wrong(unit="dB")]), "gives levels without their unit"),
        (
            Plain(ONE, [Recording(SILENT[0], 48_000)]),
            "gives samples that aren't float32 of shape (1, n)",
        ),
        (Plain(ONE, [Recording(SILENT * np.float32(np.nan), 48_000)]), "gives samples that are no numbers"),
        (Plain(ONE, [Recording(SILENT + np.float32(0.5), 48)]), "gives 48 as a sample rate"),
        (Plain(ONE, [Recording(SILENT, 48_000)]), "gives silence"),
        (
            Plain(ONE, [Recording(SILENT.repeat(2, axis=0), 48_000)]),
            "gives samples that aren't float32 of shape (1, n)",
        ),
        *((Plain(ONE, [wrong(placed=placed)]), "gives placed, which is no Placed") for placed in NOWHERE),
        (Plain(ONE, [wrong(interpolation_db=DB[:2])]), "gives arrays of other lengths"),
        (Plain(ONE, [wrong(interpolation_db=-DB)]), "gives an interpolation_db under 0"),
        (Plain(ONE, [wrong(phase_deg=DB * 1e20)]), "gives phases that no response has"),
        *((Plain(said(**field), [FLAT]), problem) for field, problem in NO_PART),
        (Plain(Contents(Form.RESPONSES, (Part(),), sample_rate_hz="x"), [FLAT]), "says a sample rate"),  # type: ignore[arg-type]
    ],
)
def test_what_a_reader_does_wrong_is_one_line_with_its_name(
    tmp_path: Path, entries: dict[str, Any], reader: Any, problem: str
) -> None:
    entries["pebble"] = reader
    with pytest.raises(ReadError) as refused:
        looked(tmp_path)
    line = str(refused.value)
    assert line.startswith("a.pebble")
    assert f"the reader pebble {problem}" in line or problem in line
    assert line.endswith(PLAIN)
    assert line.isprintable()


def test_a_level_that_is_not_valid(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["pebble"] = Plain(ONE, [wrong(level_db=NAN, phase_deg=NAN, interpolation_db=NAN)])
    assert looked(tmp_path) == ONE


ANYTHING = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=3),
    st.binary(max_size=3),
    st.tuples(st.floats(), st.floats()),
    st.lists(st.floats(), max_size=3),
    st.dictionaries(st.text(max_size=2), st.integers(), max_size=1),
    st.sampled_from([object(), Form.SOUND, TakeKind.SWEEP, ON_AXIS, Part(), FLAT, HZ, NAN, HZ[:1], HZ[None]]),
    st.builds(Drive, st.one_of(st.floats(), st.text(max_size=2)), st.sampled_from(["V", "dBFS", "W", 1])),
    st.builds(Placed, *[st.one_of(st.none(), st.booleans(), st.floats(), st.text(max_size=2))] * 3),
)
POSSIBLE: dict[type, dict[str, Any]] = {
    Part: {"selector": "1", "position_deg": (30.0, 0.0), "kind": TakeKind.RESPONSE, "drive": Drive(2.83)},
    Contents: {"form": Form.RESPONSES, "parts": (Part(),)},
    MeasuredResponse: {"frequency_hz": HZ, "level_db": DB, "phase_deg": DB, "placed": Placed(1.0)},
    Recording: {"samples": np.full((1, 4), 0.5, np.float32), "sample_rate_hz": 48_000},
}


@given(st.data())
def test_any_field_may_be_anything(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(list(POSSIBLE)))
    names = [field.name for field in dataclasses.fields(kind)]
    changed = data.draw(st.dictionaries(st.sampled_from(names), ANYTHING, max_size=2))
    made = kind(**(POSSIBLE[kind] | changed))
    if isinstance(made, Part):
        made = Contents(Form.RESPONSES, (made,))
    problem = wrong_contents(made) if isinstance(made, Contents) else wrong_signal(made)
    assert problem.isprintable()
    if not problem and isinstance(made, Contents):
        whole = Take("a.pebble", TakeKey(TakeKind.RESPONSE, drive=Drive(2.83)), EVERY_PART)
        for part in made.parts:
            if part.position_deg is not None or part.direction is not None:
                _of_part(whole, part)
    if not problem and isinstance(made, MeasuredResponse):
        levels_of(made)
        distance = made.placed.distance_m if made.placed else 1.0
        on = on_grid(made, np.geomspace(20.0, 2000.0, 50), distance, 2.83)
        assert np.isfinite(on.pressure[on.valid]).all()


def test_its_own_refusals_stand(tmp_path: Path, entries: dict[str, Any]) -> None:
    entries["pebble"] = Plain(ReadError("a.pebble", "is no pebble", "export it again"), [])
    with pytest.raises(ReadError, match=r"^a.pebble: is no pebble; export it again$"):
        looked(tmp_path)


def test_the_options_of_every_reader_are_documented() -> None:
    written = reader_tables.PAGE.read_text(encoding="utf-8")
    assert written == reader_tables.page(), "run: python tests/reader_tables.py"
