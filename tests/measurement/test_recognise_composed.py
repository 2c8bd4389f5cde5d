"""Names put together at random from pieces whose meaning is known: the right take or a doubt."""

from __future__ import annotations

from dataclasses import dataclass

from arriving import arrived
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.measurement.recognise import recognise
from earwitness.records.takes import Direction, Drive, Orbit

STIMULUS = "before/stimulus.wav"
PLANES = {
    Orbit.HORIZONTAL: ("horizontal", "Horizontale", "hor", "waagerecht", "HORIZ"),
    Orbit.VERTICAL: ("vertical", "Verticale", "vert", "senkrecht", "VERTIKAL"),
}
SEPARATORS = ("_", " ", "/", "-", "__", " - ", ", ")
#: What else stands in names; none of it is the angle, the plane or the drive.
OTHERS = (
    "2026-11-02", "20261102", "02.11.2026", "14h30", "48k", "96000", "24bit", "44.1kHz", "1m", "cobble",
    "cobble2", "take 3", "run 12", "day 2", "no 7", "v2", "MkII", "sweep", "20-20k", "20°C", "left", "Grad",
    "room B", "level", "gain -6", "-10dB", "1W", "x", "final", "007", "30", "5", "x -20", "on", "axis", "up",
    "tilt 5", "phi", "mic2", "repeat", "normalized", "(2)", "8 ohm", "az", "p", "m", "V", "H",
)  # fmt: skip


def signed(angle: int, style: int) -> str:
    """An angle with a sign that is meant as one, in several ways."""
    minus = angle < 0
    return (
        f"{angle:+04d}",
        f"{angle:+d}deg",
        f"{angle:+d}°".replace("-", "−"),
        f"{'minus' if minus else 'plus'}{abs(angle)}",
        f"{'m' if minus else 'p'}{abs(angle):03d}",
        f"{'neg ' if minus else 'pos '}{abs(angle)} Grad",
        f"{angle:d}",
        f"{angle % 360:03d}",
    )[style]


def driven(volts: float, style: int) -> str:
    """Volts in several ways."""
    whole, _, decimals = f"{volts:.2f}".partition(".")
    return (
        f"{volts:.2f}V",
        f"{volts:.2f} Vrms",
        f"{whole}V{decimals}",
        f"{whole},{decimals}V",
        f"{volts * 1000:.0f}mV",
        f"{whole}_{decimals}V",
    )[style]


@dataclass(frozen=True)
class Name:
    """A name, and what its writer meant."""

    path: str
    direction: Direction
    drive: Drive


@st.composite
def sets_of_names(draw: st.DrawFn) -> list[Name]:
    """A set of names in one style, as one person would write them in one session."""
    orbit = draw(st.sampled_from(list(Orbit)))
    word = draw(st.sampled_from(PLANES[orbit]))
    style, drive_style = draw(st.integers(0, 7)), draw(st.integers(0, 5))
    volts = draw(st.sampled_from([0.1, 0.28, 1.0, 2.83, 12.5]))
    separator = draw(st.sampled_from(SEPARATORS))
    others = draw(st.lists(st.sampled_from(OTHERS), max_size=3))
    order = draw(st.permutations(range(3 + len(others))))
    angles = draw(st.lists(st.integers(-17, 18).map(lambda n: 10 * n), min_size=1, max_size=8, unique=True))
    names = []
    for angle in angles:
        pieces = [word, signed(angle, style), driven(volts, drive_style), *others]
        path = separator.join(pieces[i] for i in order)
        names.append(Name(f"{path}.wav", Direction(orbit, float(angle)), Drive(volts)))
    return names


@settings(max_examples=1500, deadline=None)
@given(sets_of_names())
def test_any_composition_gives_the_right_take_or_a_doubt(names: list[Name]) -> None:
    found = {one.path: one for one in recognise(arrived(*{n.path for n in names}), stimuli={STIMULUS: None})}
    for name in names:
        take = found[name.path].take
        if take is not None:
            assert take.key.direction is not None, name.path
            assert take.key.direction == name.direction, name.path
            assert take.key.drive == name.drive, name.path


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from([word for words in PLANES.values() for word in words]),
    st.integers(1, 179),
    st.sampled_from(["{}", "{}deg", "{} Grad", "{:03d}", "-{}", "p{}", "m{}", "n{}", "±{}"]),
    st.sampled_from(["_", " ", "", "-"]),
)
def test_a_sign_that_nothing_shows_is_never_made_up(plane: str, angle: int, style: str, parting: str) -> None:
    """A hyphen that is joined to the plane's word may part; one behind a space or a line is a sign."""
    number = style.format(angle)
    (one,) = recognise(arrived(f"{plane}{parting}{number}_2.83V.wav"), stimuli={STIMULUS: None})
    if one.take is not None:
        assert number.startswith("-")
        assert parting in "_ "
        assert one.take.key.direction is not None
        assert one.take.key.direction.angle_deg == -angle
