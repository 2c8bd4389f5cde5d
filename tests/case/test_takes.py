from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.case.drives import format_drive, parse_drive
from earwitness.case.layout import CaseFolder
from earwitness.case.takes import read_takes, unlisted, write_takes
from earwitness.records.errors import CaseError
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind

Put = Callable[..., None]
HORIZONTAL_30 = Take(
    "horizontal_+030_2.83V.wav",
    TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, 30.0), Drive(2.83)),
    stimulus="stimulus.wav",
)
STIMULUS = Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))
RULE = '[[rule]]\nfiles = "{orbit}_{angle}_{drive}.wav"\nkind = "sweep"\nstimulus = "stimulus.wav"\n'
BY_HAND = """# mine
[[take]]   # the first one
file = "stimulus.wav"   # as played
kind = "stimulus"

# turned by hand, beware
[[take]]
kind = "sweep"          # kind first, as I like it
file = "a.wav"
angle_deg = 30.0        # read off the plate
orbit = "horizontal"
drive = "2.83 V"
# the end
"""


def state(case: CaseFolder, text: str) -> None:
    case.takes_toml.write_text(text, encoding="utf-8")


def test_a_new_case_has_no_takes(case: CaseFolder) -> None:
    assert read_takes(case) == ()


def test_a_rule_reads_names(case: CaseFolder, put: Put) -> None:
    put("stimulus.wav", "horizontal_+030_2.83V.wav", "vertical_-45.5_2.83 V.wav", "notes.txt")
    state(case, RULE + '[[take]]\nfile = "stimulus.wav"\nkind = "stimulus"\n')
    below = Take(
        "vertical_-45.5_2.83 V.wav",
        TakeKey(TakeKind.SWEEP, Direction(Orbit.VERTICAL, -45.5), Drive(2.83)),
        stimulus="stimulus.wav",
    )
    assert read_takes(case) == (HORIZONTAL_30, STIMULUS, below)
    assert unlisted(case) == ("notes.txt",)


def test_rules_know_folders_stars_radiators_repeats_and_full_scale(case: CaseFolder, put: Put) -> None:
    put("near/port_2.wav", "day 1/cw_−20dBFS.txt")
    state(
        case,
        '[[rule]]\nfiles = "near/{radiator}_{repeat}.wav"\nkind = "near_field"\ndistance_m = 0.005\n'
        '[[rule]]\nfiles = "*/c*_{drive}.txt"\nkind = "response"\norbit = "vertical"\nangle_deg = 180\n',
    )
    assert read_takes(case) == (
        Take(
            "day 1/cw_−20dBFS.txt",
            TakeKey(TakeKind.RESPONSE, Direction(Orbit.VERTICAL, 180.0), Drive(-20.0, "dBFS")),
        ),
        Take("near/port_2.wav", TakeKey(TakeKind.NEAR_FIELD, radiator="port", repeat=2), distance_m=0.005),
    )


def test_an_entry_wins_over_a_rule(case: CaseFolder, put: Put) -> None:
    put("stimulus.wav", HORIZONTAL_30.path)
    entry = (
        '[[take]]\nfile = "horizontal_+030_2.83V.wav"\nkind = "sweep"\norbit = "vertical"\nangle_deg = -180\n'
    )
    state(case, entry + RULE)
    assert [take.key.direction for take in read_takes(case)] == [Direction(Orbit.VERTICAL, 180.0)]


def test_selectors_name_parts_of_a_file(case: CaseFolder, put: Put) -> None:
    put("both.wav")
    text = '[[take]]\nfile = "both.wav"\nselector = "{}"\nkind = "calibrator"\nlevel_db = 94\nrepeat = {}\n'
    state(case, text.format("right", 2) + text.format("left", 1))
    left, right = read_takes(case)
    assert (left.id, right.id) == ("both.wav#left", "both.wav#right")
    assert left.level_db == 94.0


def test_two_stimuli_are_no_repetition(case: CaseFolder, put: Put) -> None:
    put("one.wav", "two.wav")
    state(case, '[[rule]]\nfiles = "*.wav"\nkind = "stimulus"\n')
    assert len(read_takes(case)) == 2


def entry(**fields: object) -> str:
    lines = [f"{k} = {v}" if not isinstance(v, str) else f'{k} = "{v}"' for k, v in fields.items()]
    return "[[take]]\n" + "\n".join(lines) + "\n"


SWEEP: dict[str, Any] = {"file": "a.wav", "kind": "sweep", "orbit": "horizontal", "angle_deg": 30}
REFUSED = [
    ("x = 1\n", "line 1, x: is neither [[take]] nor [[rule]]"),
    ("take = 1\n", "line 1, take: isn't a list of tables"),
    ("take = [1]\n", "line 1, take: isn't a list of tables"),
    ("[[take]]\n", "line 1, take.1.file: names no file"),
    (entry(file="c.wav", kind="sweep"), "line 2, take.1.file: raw/c.wav isn't there; did you mean b.wav?"),
    (entry(file="a.wav"), "take.1.kind: has no kind"),
    (entry(file="a.wav", kind="swep"), "line 3, take.1.kind: 'swep' is no kind of take; the kinds are sweep"),
    (entry(file="a.wav", kind="sweep"), "line 3, take.1.kind: has no direction"),
    (entry(file="a.wav", kind="near_field"), "names no radiator"),
    (entry(**SWEEP, angel_deg=3), "line 6, take.1.angel_deg: is no field of a take; did you mean angle_deg?"),
    (entry(**(SWEEP | {"orbit": "diagonal"})), "line 4, take.1.orbit: 'diagonal' is no orbit"),
    (entry(**(SWEEP | {"angle_deg": 200})), "line 5, take.1.angle_deg: isn't from −180 to 180"),
    (entry(**(SWEEP | {"angle_deg": "30"})), "angle_deg: isn't a number that can be"),
    (entry(file="a.wav", kind="noise", angle_deg=1), "take.1.angle_deg: an angle without an orbit"),
    (entry(file="a.wav", kind="noise", orbit="vertical"), "take.1.orbit: an orbit without an angle"),
    ("[[take]]\nfile = 'a.wav'\nkind = 'noise'\nlevel_db = nan\n", "line 4, take.1.level_db: isn't a number"),
    ("[[take]]\nfile = 'a.wav'\nkind = 'noise'\nlevel_db = true\n", "take.1.level_db: isn't a number"),
    (entry(**SWEEP, drive="2.83"), "line 6, take.1.drive: '2.83' is no drive"),
    (entry(**SWEEP, drive="-1 V"), "is no drive"),
    (entry(**SWEEP, drive=""), "take.1.drive: isn't a line of text"),
    (entry(**SWEEP, repeat=0), "take.1.repeat: isn't a whole number"),
    (entry(**SWEEP, stimulus="x.wav"), "line 6, take.1.stimulus: raw/x.wav isn't there"),
    (entry(**SWEEP, distance_m=0), "take.1.distance_m: isn't over 0"),
    (entry(**SWEEP) + entry(**SWEEP), "line 6, take.2: raw/a.wav has two entries"),
    (
        entry(**SWEEP) + entry(**(SWEEP | {"file": "b.wav"})),
        "line 6, take.2: raw/a.wav and raw/b.wav are the same take (sweep, horizontal +30°)",
    ),
    ("[[rule]]\nkind = 'noise'\n", "rule.1.files: has no pattern"),
    (
        "[[rule]]\nfiles = '{angel}.wav'\nkind = 'noise'\n",
        "line 2, rule.1.files: '{angel}' is no placeholder",
    ),
    ("[[rule]]\nfiles = '{angle'\nkind = 'noise'\n", "rule.1.files: '{' is no placeholder"),
    ("[[rule]]\nfiles = '{angle}{angle}'\nkind = 'noise'\n", "'{angle}' stands in it twice"),
    ("[[rule]]\nfiles = '***'\nkind = 'noise'\n", "too many stars"),
    (
        "[[rule]]\nfiles = '{angle}'\nkind = 'noise'\nangle_deg = 3\n",
        "rule.1.angle_deg: stands in the pattern too",
    ),
    ("[[rule]]\nfiles = '*.wav'\nkind = 'sweep'\n", "rule.1.kind: raw/a.wav: has no direction"),
    (
        "[[rule]]\nfiles = '*.wav'\nkind = 'stimulus'\n[[rule]]\nfiles = 'a.wav'\nkind = 'noise'\n",
        "line 4, rule.2: raw/a.wav matches *.wav as well",
    ),
]


@pytest.mark.parametrize(("text", "message"), REFUSED)
def test_refuses_with_line_field_and_remedy(case: CaseFolder, put: Put, text: str, message: str) -> None:
    put("a.wav", "b.wav")
    state(case, text)
    with pytest.raises(CaseError) as caught:
        read_takes(case)
    assert message in str(caught.value)
    assert str(caught.value).startswith("takes.toml, line ")


def test_what_a_person_wrote_survives(case: CaseFolder, put: Put) -> None:
    put("stimulus.wav", "a.wav", "b.wav")
    state(case, BY_HAND)
    second = Take("b.wav", TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, 40.0), Drive(2.83)))
    changes = write_takes(case, (second, *read_takes(case)))
    assert changes.added == ("b.wav",)
    assert changes.same == ("a.wav", "stimulus.wav")
    after = case.takes_toml.read_text("utf-8")
    assert after.startswith(BY_HAND)
    assert second in read_takes(case)


def test_a_correction_touches_only_what_differs(case: CaseFolder, put: Put) -> None:
    put("stimulus.wav", "a.wav")
    state(case, BY_HAND)
    right = Take(
        "a.wav", TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, -30.0), None), stimulus="stimulus.wav"
    )
    assert write_takes(case, [right]).corrected == ("a.wav",)
    before, after = BY_HAND.splitlines(), case.takes_toml.read_text("utf-8").splitlines()
    assert [line for line in before if line not in after] == [
        "angle_deg = 30.0        # read off the plate",
        'drive = "2.83 V"',
    ]
    assert [line for line in after if line not in before] == [
        "angle_deg = -30.0        # read off the plate",
        'stimulus = "stimulus.wav"',
    ]
    assert right in read_takes(case)


def test_a_new_field_stands_with_its_entry_and_not_with_the_next_ones_comment(
    case: CaseFolder, put: Put
) -> None:
    put("a.wav", "b.wav")
    text = (
        entry(file="a.wav", kind="noise")
        + "# end of a\n\n# about b\n"
        + entry(file="b.wav", kind="impedance")
    )
    state(case, text.rstrip("\n"))
    a, b = read_takes(case)
    write_takes(case, [dataclasses.replace(a, level_db=40.5), dataclasses.replace(b, level_db=41.5)])
    a_text, b_text = text.split("# end of a")
    wanted = f"{a_text}level_db = 40.5\n# end of a{b_text}level_db = 41.5"
    assert case.takes_toml.read_text("utf-8").rstrip("\n") == wanted


def test_a_correction_survives_entries_apart(case: CaseFolder, put: Put) -> None:
    put("a.wav", "b.wav", "c.wav")
    text = entry(file="a.wav", kind="noise") + "[[rule]]\nfiles = 'c.wav'\nkind = 'noise'\nrepeat = 3\n"
    state(case, text + entry(file="b.wav", kind="noise", repeat=2))
    wanted = Take("b.wav", TakeKey(TakeKind.NOISE, repeat=7))
    write_takes(case, [wanted])
    assert case.takes_toml.read_text("utf-8") == text + entry(file="b.wav", kind="noise", repeat=7)
    assert wanted in read_takes(case)


def test_writing_twice_changes_nothing(case: CaseFolder, put: Put) -> None:
    put("stimulus.wav", HORIZONTAL_30.path)
    write_takes(case, [HORIZONTAL_30, STIMULUS])
    once = case.takes_toml.read_bytes()
    assert write_takes(case, [HORIZONTAL_30, STIMULUS]).same == (HORIZONTAL_30.id, STIMULUS.id)
    assert case.takes_toml.read_bytes() == once


def test_refuses_to_write_what_it_could_not_read(case: CaseFolder, put: Put) -> None:
    put("a.wav", "b.wav")
    before = case.takes_toml.read_bytes()
    noise = TakeKey(TakeKind.NOISE)
    with pytest.raises(CaseError, match=r"raw/a\.wav and raw/b\.wav are the same take"):
        write_takes(case, [Take("a.wav", noise), Take("b.wav", noise)])
    assert case.takes_toml.read_bytes() == before


ANGLES = st.floats(-180, 180, exclude_min=True).map(lambda angle: angle + 0.0)
DIRECTIONS = st.builds(Direction, st.sampled_from(Orbit), ANGLES)
DRIVES = st.one_of(
    st.builds(Drive, st.floats(1e-6, 1e4), st.just("V")),
    st.builds(Drive, st.floats(-200, 20).map(lambda level: level + 0.0), st.just("dBFS")),
    st.builds(Drive, st.floats(-120, 40).map(lambda level: level + 0.0), st.just("dBu")),
)
LEVELS = st.one_of(st.none(), st.floats(-300, 300))
SELECTORS = st.text("abc ä°\"'\\=[]#{}", max_size=6).filter(lambda s: not s or s.isprintable())


@st.composite
def some_takes(draw: st.DrawFn) -> list[Take]:
    """Takes of the files a.wav and b.wav whose ids and keys all differ."""
    drawn = [
        Take(
            draw(st.sampled_from(["a.wav", "b.wav"])),
            TakeKey(
                TakeKind.RESPONSE,
                draw(DIRECTIONS),
                draw(st.none() | DRIVES),
                draw(st.none() | st.just("port")),
                n,
            ),
            draw(SELECTORS),
            draw(st.none() | st.just("a.wav")),
            draw(LEVELS),
            draw(st.none() | st.floats(1e-3, 10)),
        )
        for n in range(1, draw(st.integers(1, 6)))
    ]
    return list({take.id: take for take in drawn}.values())


@given(takes=some_takes(), again=some_takes())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_is_written_is_read(case: CaseFolder, put: Put, takes: list[Take], again: list[Take]) -> None:
    put("a.wav", "b.wav")
    state(case, "# by hand\n")
    write_takes(case, takes)
    assert read_takes(case) == tuple(sorted(takes, key=lambda take: take.id))
    merged = {take.id: take for take in (*takes, *again)}
    keys = [take.key for take in merged.values()]
    if len(set(keys)) == len(keys):
        write_takes(case, again)
        assert read_takes(case) == tuple(merged[i] for i in sorted(merged))
        text = case.takes_toml.read_text("utf-8")
        assert text.startswith("# by hand\n")
        assert len(tomllib.loads(text).get("take", [])) == len(merged)


@given(DRIVES)
def test_drives_come_back(drive: Drive) -> None:
    assert parse_drive(format_drive(drive)) == drive


@pytest.mark.parametrize(
    ("text", "drive"),
    [
        ("2.83 V", Drive(2.83)),
        ("−20dBFS", Drive(-20.0, "dBFS")),
        ("+4 dBu", Drive(4.0, "dBu")),
        ("-10.5_dBu", Drive(-10.5, "dBu")),
    ],
)
def test_reads_drives(text: str, drive: Drive) -> None:
    assert parse_drive(text) == drive


@pytest.mark.parametrize("text", ["", "V", "2,83 V", "2.83 v", "2.83", "nan V", "0 V", "1e999 V", "2.83 V x"])
def test_refuses_what_is_no_drive(text: str) -> None:
    assert parse_drive(text) is None
