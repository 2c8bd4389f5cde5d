"""The data pack's AES69 file: sofar verifies it, reads the same numbers, and so do we."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from aes69_oracle import sofar
from closed_forms import cardioid_up15, responses
from publishable import build_folder, built, case_files

from earwitness.measurement.readers.aes69 import READER
from earwitness.measurement.readers.contents import LevelUnit, Source
from earwitness.publication.aes69_file import aes69_file, directions
from earwitness.publication.context import assemble
from earwitness.publication.data_pack import data_pack
from earwitness.records.errors import NotAvailableError
from earwitness.records.facts import Unit
from earwitness.records.grid import Floats
from earwitness.records.responses import Responses

UNIT = Unit("Cobble Two", maker="Pebbleworks", kind="two-way loudspeaker")
DAY = dt.date(2026, 11, 20)


@pytest.fixture(scope="module")
def made() -> Responses:
    plain = responses(cardioid_up15, valid_from_hz=100.0)
    bend = np.exp(1j * np.sin(2.0 * np.log(plain.frequency_hz)))
    return replace(plain, pressure=(plain.pressure * bend).astype(np.complex64))


def content(of: Responses) -> bytes:
    return aes69_file(directions(of), UNIT, "earwitness 0.1.0", DAY)


def expected_pa(position_deg: Floats) -> Floats:
    """On-axis level of 86 dB at 2.83 V and 1 m: the cardioid aimed 15° up, from azimuth and elevation."""
    azimuth, elevation = np.deg2rad(position_deg[:, 0]), np.deg2rad(position_deg[:, 1])
    x, z = np.cos(elevation) * np.cos(azimuth), np.sin(elevation)
    aimed = (1.0 + x * np.cos(np.pi / 12) + z * np.sin(np.pi / 12)) / 2.0
    return np.asarray(20e-6 * 10.0 ** (86.0 / 20.0) * aimed)


def test_sofar_verifies_it_and_reads_the_same(made: Responses, tmp_path: Path) -> None:
    (tmp_path / "s.sofa").write_bytes(content(made))
    read = sofar.read_sofa(str(tmp_path / "s.sofa"), verbose=False)
    read.verify(mode="read")
    assert read.GLOBAL_SOFAConventions == "FreeFieldDirectivityTF"
    assert read.GLOBAL_Title == "Cobble Two"
    assert read.GLOBAL_SourceManufacturer == "Pebbleworks"
    assert read.GLOBAL_DateCreated.startswith("2026-11-20")
    assert read.Data_Real.shape == (1, 70, int((made.frequency_hz >= 100.0).sum()))
    assert np.array_equal(read.N, made.frequency_hz[made.frequency_hz >= 100.0])
    assert read.ReceiverPosition[:, 2] == pytest.approx(1.0)
    size = np.abs(read.Data_Real + 1j * read.Data_Imag)[0]
    wanted = expected_pa(read.ReceiverPosition)
    assert size == pytest.approx(np.broadcast_to(wanted[:, None], size.shape), rel=1e-6)
    phase = np.exp(1j * np.sin(2.0 * np.log(read.N)))
    turned = (read.Data_Real + 1j * read.Data_Imag)[0] / size / phase
    assert np.abs(turned - 1.0).max() < 1e-5


def test_our_own_reader_reads_it_back(made: Responses, tmp_path: Path) -> None:
    (tmp_path / "s.sofa").write_bytes(content(made))
    source = Source(tmp_path / "s.sofa", "s.sofa")
    parts = READER.look(source).parts
    positions = np.array([part.position_deg for part in parts])
    found = READER.read(source, [part.selector for part in parts])
    for response, size in zip(found, expected_pa(positions), strict=True):
        assert response.unit is LevelUnit.PASCAL
        assert 10.0 ** (response.level_db / 20.0) == pytest.approx(
            np.full(response.level_db.shape, size), rel=1e-6
        )


def test_the_same_case_gives_the_same_bytes(made: Responses) -> None:
    assert content(made) == content(made)
    assert b"1970-01-01 00:00:00" in aes69_file(directions(made), UNIT, "earwitness 0.1.0", None)


def test_only_where_every_direction_is_valid(made: Responses) -> None:
    valid = made.valid.copy()
    valid[7, made.frequency_hz > 9_000.0] = False
    assert directions(replace(made, valid=valid)).frequency_hz[-1] <= 9_000.0


def test_a_direction_that_is_valid_nowhere_is_left_out(made: Responses) -> None:
    valid = made.valid.copy()
    lost = next(i for i, t in enumerate(made.takes) if t.key.direction and t.key.direction.angle_deg == 40.0)
    valid[lost] = False
    found = directions(replace(made, valid=valid))
    assert len(found.position_deg) == 69
    assert [40.0, 0.0] not in found.position_deg.tolist()
    assert found.frequency_hz.size == int((made.frequency_hz >= 100.0).sum())


def test_interpolated_directions_stay_out(made: Responses) -> None:
    takes = list(made.takes)
    takes[5] = replace(takes[5], selector="interpolated az 230 el 0")
    lost = takes[5].key.direction
    valid = made.valid.copy()
    valid[5, made.frequency_hz > 3_000.0] = False
    found = directions(replace(made, takes=tuple(takes), valid=valid))
    assert lost is not None
    assert [lost.azimuth_deg, lost.elevation_deg] not in found.position_deg.tolist()
    assert len(found.position_deg) == 69
    assert found.frequency_hz[-1] == made.frequency_hz[-1]


def test_without_phase_it_is_real(made: Responses, tmp_path: Path) -> None:
    has = made.has_phase.copy()
    has[3] = False
    found = directions(replace(made, has_phase=has))
    assert not found.has_phase
    assert (found.pressure.imag == 0.0).all()
    assert b"there is no phase" in aes69_file(found, UNIT, "earwitness 0.1.0", DAY)


def test_nothing_valid_is_no_file(made: Responses) -> None:
    with pytest.raises(NotAvailableError):
        directions(replace(made, valid=np.zeros_like(made.valid)))
    valid = made.valid & (np.arange(len(made.takes))[:, None] % 2 == (made.frequency_hz < 1_000.0))
    with pytest.raises(NotAvailableError):
        directions(replace(made, valid=valid))


def test_the_pack_holds_it_and_says_what_it_is(tmp_path: Path) -> None:
    pack = data_pack(assemble(case_files(), built()), build_folder(tmp_path / "build"))
    readme = pack["README.txt"].decode()
    assert "responses.sofa" in pack
    assert b"2026-11-20 00:00:00" in pack["responses.sofa"]
    assert "responses.sofa the measured directions at 2.83 V as AES69-2022" in readme
    assert "1970-01-01 where there is none" in readme


def test_the_pack_is_silent_of_what_it_lacks(tmp_path: Path) -> None:
    whole = built()
    none = replace(whole.responses, valid=np.zeros_like(whole.responses.valid))
    pack = data_pack(assemble(case_files(), replace(whole, responses=none)), build_folder(tmp_path / "build"))
    assert "responses.sofa" not in pack
    assert "AES69" not in pack["README.txt"].decode()


def test_directions_are_where_aes69_has_them(made: Responses) -> None:
    # AES69: H−90 is azimuth 270; V+120 is behind, at azimuth 180 and elevation 60
    places = {tuple(p) for p in directions(made).position_deg.tolist()}
    assert {(90.0, 0.0), (270.0, 0.0), (0.0, 90.0), (180.0, 60.0), (180.0, -60.0)} <= places
