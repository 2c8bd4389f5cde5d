from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case, read_facts
from earwitness.case.raw_store import read_hashes
from earwitness.case.take_rules import Rule
from earwitness.case.takes import read_takes, write_takes
from earwitness.case.toml_text import line_of
from earwitness.records.errors import CaseError
from earwitness.records.takes import Take, TakeKey, TakeKind

FACTS = """# a case
number = 3
[unit]
name = "Cobble Two"
price = 480.0
price_date = 2026-11-02
active = false
cabinet = { shape = "sphere", diameter_m = 0.28 }
[[unit.radiators]]
name = "woofer"
diameter_m = 0.11
[rig]
distance_m = 2.0
temperature_c = 21.0
[[claims]]
text = "Bass down to 45 Hz"
figure = "f3"
value = 45.0
band_hz = [40.0, 80.0]
"""
TAKES = """[[take]]
file = "a.wav"
selector = "left"
kind = "sweep"
orbit = "horizontal"
angle_deg = 30.0
drive = "2.83 V"
stimulus = "b.wav"
repeat = 2
[[rule]]
files = "{radiator}*.wav"
kind = "near_field"
distance_m = 0.005
"""
PIECES = [
    "[",
    "]",
    "[[",
    '"',
    "'",
    "=",
    "\n",
    "\r",
    "{",
    "}",
    ".",
    "#",
    ",",
    "nan",
    "-inf",
    "1e400",
    "2026-11-02",
]
PIECES += [
    "07:32:00",
    "true",
    '"""',
    "\\u0000",
    "\x00",
    "\ufeff",
    "9" * 40,
    "unit",
    "rig.x = 1",
    "[[take]]",
    "é",
    "−",
]
EVERY_TIME = settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    made = new_case(tmp_path / "case", "Cobble Two")
    for name in ("a.wav", "b.wav", "port_1.wav"):
        (made.raw / name).write_bytes(b"x")
    return made


def mutated(valid: str) -> st.SearchStrategy[bytes]:
    """A valid file with pieces put in, cut out or repeated at random places."""
    place = st.integers(0, len(valid))
    change = st.tuples(place, place, st.sampled_from(PIECES) | st.text(max_size=5))

    def apply(changes: list[tuple[int, int, str]]) -> bytes:
        text = valid
        for start, end, piece in changes:
            cut = min(end, start + 12)
            text = text[:start] + piece + text[max(start, cut) if end > start else start :]
        return text.encode("utf-8", "replace")

    return st.lists(change, min_size=1, max_size=4).map(apply)


def only_case_errors(action: Callable[[], Any]) -> None:
    try:
        action()
    except CaseError as error:
        message = str(error)
        assert "\n" not in message
        assert message.isprintable()
        assert not re.search(r"Input should|pydantic|tomllib|Expected|errors\.pydantic", message)


@given(content=st.binary(max_size=200) | mutated(FACTS))
@EVERY_TIME
def test_any_case_toml_is_read_or_refused_in_one_line(case: CaseFolder, content: bytes) -> None:
    case.case_toml.write_bytes(content)
    only_case_errors(lambda: read_facts(case))


@given(content=st.binary(max_size=200) | mutated(TAKES))
@EVERY_TIME
def test_any_takes_toml_is_read_or_refused_in_one_line(case: CaseFolder, content: bytes) -> None:
    case.takes_toml.write_bytes(content)
    only_case_errors(lambda: read_takes(case))


@given(content=mutated(TAKES))
@EVERY_TIME
def test_any_takes_toml_that_is_read_can_be_written_to(case: CaseFolder, content: bytes) -> None:
    case.takes_toml.write_bytes(content)
    wanted = [
        Take("a.wav", TakeKey(TakeKind.NOISE), "left", level_db=40.0),
        Take("b.wav", TakeKey(TakeKind.IMPEDANCE)),
    ]
    try:
        before = read_takes(case)
        write_takes(case, wanted)
    except CaseError:
        assert case.takes_toml.read_bytes() == content
        return
    after = read_takes(case)
    assert set(wanted) <= set(after)
    replaced = {take.id for take in wanted} | {"b.wav"}
    assert [t for t in after if t.id not in replaced] == [t for t in before if t.id not in replaced]


@given(content=st.binary(max_size=200) | st.text("abc0123456789 */\n", max_size=150).map(str.encode))
@EVERY_TIME
def test_any_raw_sha256_is_read_or_refused_in_one_line(case: CaseFolder, content: bytes) -> None:
    case.raw_sha256.write_bytes(content)
    only_case_errors(lambda: read_hashes(case))


@given(st.text("{}*[]()^$.|+?\\abangle", max_size=30), st.text(max_size=30))
def test_any_pattern_is_a_rule_or_refused(pattern: str, name: str) -> None:
    rule = Rule.parse(pattern)
    if isinstance(rule, Rule):
        rule.match(name)
        if not rule.fields and "*" not in pattern:
            assert rule.match(pattern) == {}


@given(st.text(max_size=200), st.lists(st.text(max_size=5) | st.integers(0, 3), max_size=4).map(tuple))
def test_a_line_is_found_or_not_but_never_outside(text: str, place: tuple[str | int, ...]) -> None:
    line = line_of(text, place)
    assert line is None or 1 <= line <= text.count("\n") + 1
