"""What a change to a case makes again, and what stays; and that nothing goes out of a build gone stale."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.readers import registry
from earwitness.pipeline import stated
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import accept, look_at
from earwitness.pipeline.stated import Stated
from earwitness.publication.from_case import publish_case
from earwitness.records.errors import IntegrityError
from earwitness.records.takes import Take, TakeKey, TakeKind
from earwitness.virtual.scenario import load

ALL = ("responses", "curves and figures", "findings", "quality")
LATER = ("curves and figures", "findings", "quality")
FACTS = """
[unit]
name = "Cobble Two"
cabinet = { shape = "sphere", diameter_m = 0.28 }

[rig]
distance_m = 2.0
"""


def text(folder: Path, plane: str, angle: int) -> None:
    """One response as text: flat, lower to the sides."""
    hertz = np.geomspace(20.0, 20_000.0, 120)
    rows = "".join(f"{f:.3f}\t{84.0 - abs(angle) / 20.0:.3f}\n" for f in hertz)
    name = f"{plane}_{angle:+04d}_2.83V.txt"
    (folder / name).write_text(f"frequency [Hz]\tlevel [dB SPL]\n{rows}", encoding="utf-8")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("texts")
    for angle in (0, 10, 20, -10):
        text(folder, "horizontal", angle)
    root = tmp_path_factory.mktemp("built") / "case"
    new_case(root, "Cobble Two", {"case.toml": FACTS})
    accept(root, look_at(root, [folder]))
    assert build(root).made == ALL
    return root


@pytest.fixture
def root(built: Path, tmp_path: Path) -> Path:
    """A copy of the built case."""
    target = tmp_path / "case"
    shutil.copytree(built, target)
    return target


def facts(root: Path, old: str, new: str) -> None:
    file = root / "case.toml"
    content = file.read_text(encoding="utf-8")
    assert old in content
    file.write_text(content.replace(old, new), encoding="utf-8")


CHANGES: dict[str, tuple[Callable[[Path], None], tuple[str, ...]]] = {
    "nothing": (lambda _root: None, ()),
    "a comment": (lambda root: facts(root, "[rig]", "# mine\n[rig]"), ()),
    "the price": (lambda root: facts(root, "[rig]", "price = 10.0\n[rig]"), ("findings",)),
    "an uncertainty": (lambda root: facts(root, "[rig]", "[uncertainty]\nlevel_db = 0.2\n[rig]"), LATER),
    "the symmetry": (lambda root: facts(root, "[rig]", 'symmetry = ["left-right"]\n[rig]'), LATER),
    "active": (lambda root: facts(root, "[rig]", "active = false\n[rig]"), ()),
    "the distance": (lambda root: facts(root, "2.0", "2.5"), ALL),
    "the orientation": (lambda root: facts(root, "2.0", '2.0\npositive_horizontal = "right"'), ALL),
    "the cabinet": (lambda root: facts(root, "0.28", "0.3"), ALL),
    "an angle": (lambda root: replaced(root, "angle_deg = 20", "angle_deg = 30"), ALL),
    "a drive": (lambda root: replaced(root, "2.83 V", "2 V"), ALL),
    "how a file is read": (
        lambda root: replaced(root, "angle_deg = 20", 'angle_deg = 20\nread = { frequency = "Hz" }'),
        ALL,
    ),
}


def replaced(root: Path, old: str, new: str) -> None:
    file = root / "takes.toml"
    content = file.read_text(encoding="utf-8")
    assert f"\n{old}" in content or old in content
    file.write_text(content.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize("change", CHANGES)
def test_what_a_change_makes_again(root: Path, change: str) -> None:
    alter, expected = CHANGES[change]
    alter(root)
    outcome = build(root)
    assert outcome.made == expected
    assert outcome.kept == tuple(step for step in ALL if step not in expected)
    assert Stated.of(CaseFolder.open(root)).build_id() == outcome.build_id
    assert build(root).made == ()


def test_a_reader_of_another_version_makes_all_again(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stated, "identity", lambda _source: "slate 2.0")
    assert build(root).made == ALL


def test_one_new_take_makes_one_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = ("stimulus.wav", "calibrator_94.wav", "horizontal_+000_2.83V.wav", "horizontal_+010_2.83V.wav")
    scenario = load("cobble_two")
    scenario.record(tmp_path / "files", only=names, sweep_s=0.8)
    root = tmp_path / "case"
    new_case(root, "Cobble Two", {"case.toml": FACTS + "height_m = 1.9\nmicrophone_height_m = 1.9\n"})
    late = tmp_path / "files" / names[-1]
    accept(root, look_at(root, [tmp_path / "files" / name for name in names[:-1]]))
    made: list[str] = []

    def counted(raw: Path, takes: list[object], *rest: object) -> object:
        made.extend(str(getattr(take, "path", "")) for take in takes)
        return deconvolve(raw, takes, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr("earwitness.pipeline.build.deconvolve", counted)
    build(root)
    assert made == [names[2]]
    accept(root, look_at(root, [late]))
    build(root)
    assert made == [names[2], names[3]]
    facts(root, "2.0", "2.1")
    assert build(root).made == ALL
    assert len(made) == 2


@pytest.mark.parametrize(
    "change",
    [name for name, (_, expected) in CHANGES.items() if expected],
)
def test_nothing_goes_out_of_a_build_gone_stale(root: Path, tmp_path: Path, change: str) -> None:
    CHANGES[change][0](root)
    with pytest.raises(IntegrityError, match="build again"):
        publish_case(root, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_the_floors_of_a_step_are_those_that_it_imports() -> None:
    """What `measurement` and `derive` import is among the sources that their steps' keys digest."""
    sources = Path(registry.__file__).parents[2]
    for floor, floors in (("measurement", stated.REDUCE_FLOORS), ("derive", stated.DERIVE_FLOORS)):
        imported = {
            line.split("earwitness.")[1].split(".")[0].split(" ")[0]
            for file in (sources / floor).rglob("*.py")
            for line in file.read_text(encoding="utf-8").splitlines()
            if line.lstrip().startswith(("from earwitness.", "import earwitness."))
        }
        assert imported <= set(floors)


def test_a_take_depends_on_what_is_stated_of_its_stimulus(root: Path) -> None:
    now = Stated.of(CaseFolder.open(root))
    take = replace(now.takes[0], stimulus=now.takes[1].path)
    plain = Take(now.takes[1].path, TakeKey(TakeKind.STIMULUS))
    others = [plain, replace(plain, selector="channel 2"), replace(plain, read=(("microphone", 2),))]
    stating = [replace(now, stimuli={stimulus.path: stimulus}) for stimulus in others]
    assert len({one.identity_of(take) for one in stating}) == len(others)
