"""Interpolation from a few wavenumbers, against the functions themselves."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics import chebyshev

WANTED = np.concatenate([np.geomspace(0.01, 20.0, 200), chebyshev.places(20.0, 12)])


@pytest.mark.parametrize("path_m", [-0.4, 0.0, 0.25])
def test_a_delay_lies_between_as_it_should(path_m: float) -> None:
    at = chebyshev.places(20.0, 12)
    found = chebyshev.between(np.exp(-1j * at * path_m), 20.0, WANTED)
    assert found == pytest.approx(np.exp(-1j * WANTED * path_m), abs=1e-9)


def test_too_few_places_are_seen() -> None:
    at = chebyshev.places(20.0, 4)
    found = chebyshev.between(np.exp(-0.4j * at), 20.0, WANTED)
    assert np.max(np.abs(found - np.exp(-0.4j * WANTED))) > 0.01


def test_the_part_below_zero_is_the_conjugate() -> None:
    """jk is that of something real: exact even from one place."""
    at = chebyshev.places(20.0, 1)
    found = chebyshev.between(np.asarray(1j * at, dtype=np.complex128), 20.0, WANTED)
    assert found == pytest.approx(1j * WANTED, abs=1e-12)
