"""What is stated under ``read`` is what its reader takes it for, or refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.measurement.given_impulse import is_given
from earwitness.measurement.readers import options, units
from earwitness.measurement.readers.contents import LevelUnit, Source
from earwitness.measurement.readers.registry import look
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take, TakeKey, TakeKind

STATED = st.one_of(st.booleans(), st.integers(), st.floats(), st.text())


def stating(value: Any) -> Source:
    return Source(Path("a.wav"), "a.wav", (("key", value),))


@given(STATED)
def test_truth_is_true_or_false(value: Any) -> None:
    if isinstance(value, bool):
        assert options.truth(stating(value), "key") is value
    else:
        with pytest.raises(ReadError, match=r"^a.wav: read.key can't be .*; state true or false"):
            options.truth(stating(value), "key")


@given(STATED)
def test_a_number_is_one(value: Any) -> None:
    if isinstance(value, int | float) and not isinstance(value, bool) and 1 <= value <= 9:
        assert options.number(stating(value), "key", 1, 9, "state it") == value
    else:
        with pytest.raises(ReadError, match=r"^a.wav: read.key can't be .*; state it$"):
            options.number(stating(value), "key", 1, 9, "state it")


@pytest.mark.parametrize("value", [2.0, True, "2", 0, 10])
def test_a_whole_number_is_one(value: Any) -> None:
    assert options.whole_number(stating(2), "key", 1, 9, "state it") == 2
    with pytest.raises(ReadError, match=r"^a.wav: read.key can't be .*; state it$"):
        options.whole_number(stating(value), "key", 1, 9, "state it")


def test_nothing_stated() -> None:
    nothing = Source(Path("a.wav"), "a.wav")
    assert options.truth(nothing, "key") is False
    assert options.number(nothing, "key", 1, 9, "") is None
    assert options.whole_number(nothing, "key", 1, 9, "") is None
    assert options.one_of(nothing, "key", ["a"]) is None


@pytest.mark.parametrize(
    ("value", "name"),
    [
        ("dB re 20 uPa", "dB re 20 µPa"),
        ("dB re 20 \N{GREEK SMALL LETTER MU}Pa", "dB re 20 µPa"),
        ("DB  spl", "dB SPL"),
        (1, "1"),
        ("pa / v", "Pa/V"),
        (True, None),
        ("mPa", None),
    ],
)
def test_words_however_they_are_written(value: Any, name: str | None) -> None:
    if name is None:
        with pytest.raises(ReadError, match=r"^a.wav: read.key can't be .*; state one of dB, dB SPL"):
            options.one_of(stating(value), "key", units.STATED)
    else:
        assert options.one_of(stating(value), "key", units.STATED) == name


def test_two_names_of_one_unit_do_not_contradict() -> None:
    assert options.stated_unit(stating("dB SPL"), "key", "dB re 20 µPa", units.STATED) == "dB SPL"
    with pytest.raises(ReadError, match="dB SPL is stated, and the file says Pa;"):
        options.stated_unit(stating("dB SPL"), "key", "Pa", units.STATED)


def test_what_is_spelt_and_what_is_stated_is_the_same_unit() -> None:
    spelt = {name: units.value_unit(name) for name in units.STATED}
    assert {name for name, unit in spelt.items() if unit is None} == {"1", "Pa per unit of drive"}
    assert all(unit is None or unit == units.STATED[name] for name, unit in spelt.items())
    assert {unit.level for unit in units.PRESSURES.values()} == {LevelUnit.PASCAL, LevelUnit.PASCAL_PER_DRIVE}


@pytest.mark.parametrize("value", ["true", "yes", 1])
def test_a_word_for_true_is_not_taken_for_false(value: Any) -> None:
    take = Take("a.wav", TakeKey(TakeKind.NEAR_FIELD), read=(("impulse_response", value),))
    with pytest.raises(ReadError, match=r"^a.wav: read.impulse_response can't be .*; state true or false"):
        is_given(take)
    with pytest.raises(ReadError, match=r"^a.wav: read.impulse_response can't be .*; state true or false"):
        look(Source(Path("a.wav"), "a.wav", take.read))
