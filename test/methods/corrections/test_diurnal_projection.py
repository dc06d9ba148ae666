"""The variation seen along another direction, against exact vectors over random dipoles."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.corrections.diurnal_projection import projection_sd

FIELD, CHANGE = 48_000.0, 30.0


def dipole_fields(rng: np.random.Generator, places: int, dipoles: int) -> np.ndarray:
    """Return fields (n, 3) of dipoles of random place and direction 10 m below a wide plane.

    ``(3 (m.r) r / r^2 - m) / r^3`` (Blakely 1995, equation 4.14, from memory), any unit.
    """
    place = np.column_stack([rng.uniform(-80, 80, (places, 2)), np.zeros(places)])
    source = np.column_stack([rng.uniform(-150, 150, (dipoles, 2)), np.full(dipoles, 10.0)])
    moment = rng.normal(0, 1, (dipoles, 3))
    away = place[:, None] - source
    square = np.sum(away**2, axis=2)
    along = np.sum(away * moment, axis=2) / square
    return np.sum((3 * along[..., None] * away - moment) / square[..., None] ** 1.5, axis=1)


@pytest.mark.parametrize("inclination", [90.0, 60.0, -35.0, 0.0])
def test_size_against_exact_vectors(inclination: float):
    """|B + A + d| - |B + A| less |B + d| - |B|, with d of one size on each axis."""
    rng = np.random.default_rng(11)
    angle = np.radians(inclination)
    ambient = FIELD * np.array([0.0, np.cos(angle), np.sin(angle)])
    stated, found = [], []
    for _ in range(120):
        rocks = dipole_fields(rng, 60, 1200)
        rocks *= 800.0 / np.sqrt(np.mean(rocks**2))
        change = rng.normal(0, CHANGE, (60, 3))
        size = np.linalg.norm
        seen = size(ambient + rocks + change, axis=1) - size(ambient + rocks, axis=1)
        base = size(ambient + change, axis=1) - size(ambient)
        anomaly = size(ambient + rocks, axis=1) - size(ambient)
        found.append(seen - base)
        stated.append(
            projection_sd(anomaly, base, total_field_nT=FIELD, inclination_deg=inclination)
        )
    ratio = np.sqrt(np.mean(np.square(stated)) / np.mean(np.square(found)))
    assert ratio == pytest.approx(1.0, abs=0.1)


def test_quiet_ground_has_no_such_error():
    stated = projection_sd([20.0], [20.0], total_field_nT=FIELD, inclination_deg=50.0)
    assert stated[0] < 0.02


def test_missing_and_impossible():
    assert np.isnan(projection_sd([np.nan], [1.0], total_field_nT=5e4, inclination_deg=1.0)).all()
    with pytest.raises(InputError, match="inclination_deg"):
        projection_sd([1.0], [1.0], total_field_nT=5e4, inclination_deg=100.0)
    with pytest.raises(InputError, match="total_field_nT must be above zero"):
        projection_sd([1.0], [1.0], total_field_nT=0.0, inclination_deg=10.0)
