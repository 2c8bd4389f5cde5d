"""What speaks beside the scene: the room by both orbits, the floor's delay, wrinkles, places, splices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import closed_forms
import numpy as np
import pytest
from features_made import causes, feature
from made_series import GRID
from specimen import facts

from earwitness.derive.derivation import derive
from earwitness.findings.cause_words import NAMES, details
from earwitness.findings.causes.beside import Beside, with_beside
from earwitness.findings.find import find
from earwitness.records.causes import Cause, CauseParameter, CauseSaid, FeatureCauses
from earwitness.records.facts import Rig
from earwitness.records.takes import Orbit

H, V = Orbit.HORIZONTAL, Orbit.VERTICAL
EMPTY = Beside(GRID)


def told(*said: CauseSaid) -> FeatureCauses:
    return FeatureCauses(tuple(said), 0.0)


def after(
    one: FeatureCauses, beside: Beside, *, hertz: float = 1000.0, gain_db: float = -3.0
) -> FeatureCauses:
    (found,) = with_beside([feature(hertz, gain_db, [(H, 0.0), (V, 10.0)])], [one], beside)
    return found


def probability(one: FeatureCauses, cause: Cause) -> float:
    said = one.of(cause)
    assert said is not None
    return said.probability


def bell(size_db: float) -> np.ndarray:
    """Of the width that made features have, 0.7 octaves, about 1 kHz."""
    return np.asarray(size_db * np.exp(-0.5 * (np.log2(GRID / 1000.0) / 0.3) ** 2))


HALF = causes((Cause.EDGE_DIFFRACTION, 0.5), (Cause.ARTEFACT, 0.05))


def test_nothing_beside_changes_nothing() -> None:
    assert after(HALF, EMPTY) == HALF


def test_what_one_orbit_alone_shows_on_axis_is_the_rooms() -> None:
    """Odds of 1 to 19 times 60 are 3.16: 0.76; the edges' even odds fall to 0.3: 0.23."""
    found = after(HALF, replace(EMPTY, difference_db=bell(-3.0)))
    assert found.said[0].cause is Cause.ARTEFACT
    assert probability(found, Cause.ARTEFACT) == pytest.approx(60.0 / 79.0)
    assert probability(found, Cause.EDGE_DIFFRACTION) == pytest.approx(0.3 / 1.3)
    assert "on axis it shows on one orbit and not on the other" in found.said[0].evidence


def test_what_both_orbits_show_is_not_the_rooms() -> None:
    """Odds of 1 to 19 times 0.4; and a slope between orbits is no bell."""
    found = after(HALF, replace(EMPTY, difference_db=bell(-0.3)))
    assert probability(found, Cause.ARTEFACT) == pytest.approx(0.4 / 19.4)
    assert probability(found, Cause.EDGE_DIFFRACTION) == 0.5
    sloped = after(HALF, replace(EMPTY, difference_db=np.log2(GRID / 1000.0)))
    assert probability(sloped, Cause.ARTEFACT) == pytest.approx(0.4 / 19.4)


def test_off_axis_both_orbits_tell_nothing() -> None:
    aside = [feature(1000.0, -3.0, [(V, 20.0)])]
    assert with_beside(aside, [HALF], replace(EMPTY, difference_db=bell(-3.0))) == (HALF,)


def late(delay_s: float) -> FeatureCauses:
    parameter = CauseParameter("delay_s", delay_s, delay_s, delay_s)
    return told(CauseSaid(Cause.ARTEFACT, 0.5, 2.0, (parameter,)))


@pytest.mark.parametrize(
    ("delay_s", "gate_s", "expected"),
    [(2.41e-3, 5e-3, 5.0 / 6.0), (1.5e-3, 5e-3, 0.5), (1.5e-3, 2e-3, 1.0 / 3.0)],
)
def test_a_copy_that_comes_when_the_floors_is_due(delay_s: float, gate_s: float, expected: float) -> None:
    """Both heights 1 m at 2 m: a detour of 2√2 − 2 = 0.8284 m, 2.41 ms at 343.2 m/s."""
    rig = Rig(distance_m=2.0, height_m=1.0, microphone_height_m=1.0)
    responses = closed_forms.responses(closed_forms.omni)
    stated = replace(facts(), rig=rig)
    beside = Beside.of(derive(responses, stated, ()).curves, stated, responses)
    assert beside.floor_late_s == pytest.approx(0.8284 / 343.2, rel=1e-4)
    found = after(late(delay_s), replace(beside, gate_s=gate_s, difference_db=None))
    assert probability(found, Cause.ARTEFACT) == pytest.approx(expected)


def test_without_heights_the_floors_delay_is_not_guessed() -> None:
    responses = closed_forms.responses(closed_forms.omni)
    for rig in (Rig(distance_m=2.0), Rig(distance_m=2.0, height_m=1.0), Rig(2.0, ground_plane=True)):
        stated = replace(facts(), rig=rig)
        assert Beside.of(derive(responses, stated, ()).curves, stated, responses).floor_late_s is None


def test_a_feature_where_near_fields_were_joined() -> None:
    found = after(HALF, replace(EMPTY, splices_hz=((800.0, 1200.0),)))
    assert probability(found, Cause.ARTEFACT) == pytest.approx(4.0 / 23.0)
    assert after(HALF, replace(EMPTY, splices_hz=((200.0, 400.0),))) == HALF


def ringing(cone_db: float, own_db: float, own_hz: float = 1000.0) -> FeatureCauses:
    def at(hertz: float) -> tuple[CauseParameter, ...]:
        return (CauseParameter("frequency_hz", hertz, hertz, hertz),)

    return told(
        CauseSaid(Cause.RESONANCE, 0.5, cone_db, at(1000.0)),
        CauseSaid(Cause.PORT_OR_CAVITY, 0.5, own_db, at(own_hz)),
    )


def seen(wrinkles: Sequence[float]) -> Beside:
    return replace(EMPTY, wrinkles_hz=tuple(wrinkles), impedance_hz=(20.0, 20_000.0))


def test_a_wrinkle_is_the_cones_where_it_rings_and_else_the_ports() -> None:
    """Six or five cases of ten against one: odds of 6 and 5."""
    cone = after(ringing(3.0, 0.0), seen([1010.0]))
    assert probability(cone, Cause.RESONANCE) == pytest.approx(6.0 / 7.0)
    assert probability(cone, Cause.PORT_OR_CAVITY) == 0.5
    port = after(ringing(0.0, 0.0), seen([1010.0]))
    assert probability(port, Cause.PORT_OR_CAVITY) == pytest.approx(5.0 / 6.0)
    assert probability(port, Cause.RESONANCE) == 0.5


def test_no_wrinkle_speaks_against_both() -> None:
    """Four or five of ten against nine."""
    found = after(ringing(0.0, 0.0), seen([2000.0]))
    assert probability(found, Cause.RESONANCE) == pytest.approx(0.4444 / 1.4444, abs=1e-4)
    assert probability(found, Cause.PORT_OR_CAVITY) == pytest.approx(0.5556 / 1.5556, abs=1e-4)
    unknown = replace(seen([]), impedance_hz=(20.0, 500.0))
    assert after(ringing(0.0, 0.0), unknown) == ringing(0.0, 0.0)


def test_what_has_a_place_of_its_own_is_no_cones() -> None:
    found = after(ringing(3.0, 3.0), EMPTY)
    assert probability(found, Cause.RESONANCE) == pytest.approx(0.1 / 1.1)
    assert found.said[0].cause is Cause.PORT_OR_CAVITY
    two = ringing(3.0, 3.0, own_hz=1080.0)
    assert after(two, EMPTY) == two


def test_the_list_of_findings_looks_beside(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is beside reaches the causes of features: a stand-in is called with the case's own."""
    seen: list[Beside] = []

    def stand_in(_: object, causes: tuple[FeatureCauses, ...], beside: Beside) -> tuple[FeatureCauses, ...]:
        seen.append(beside)
        return causes

    monkeypatch.setattr("earwitness.findings.find.with_beside", stand_in)
    stated = replace(facts(), rig=Rig(distance_m=2.0, height_m=1.0, microphone_height_m=1.0))
    responses = closed_forms.responses(closed_forms.omni)
    told = derive(responses, stated, ())
    find(told.curves, told.figures, stated, responses)
    assert [one.floor_late_s for one in seen] == [pytest.approx(0.8284 / 343.2, rel=1e-4)]


def test_the_words_have_no_digits_and_every_cause_its_name() -> None:
    found = after(ringing(3.0, 3.0), seen([1000.0]))
    for index, said in enumerate(found.said):
        assert details(said, f"feature:1/causes/said/{index}").parts
    assert set(NAMES) == set(Cause)
