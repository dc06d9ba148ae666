"""The noise of a background is held against covariances in closed form and hand arithmetic."""

import numpy as np
import pytest
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.planning.target_noise import noise_with_background

Floats = NDArray[np.float64]
AMBIENT = np.array([15_000.0, -3_000.0, -16_000.0])


def detector(east: Floats, north: Floats, place: float, depth: float, sd: Floats) -> Floats:
    """Weights of the best linear detector for white noise, its own sd being 1."""
    along = AMBIENT / np.linalg.norm(AMBIENT)
    from_target = np.column_stack([north, east - place, np.full(east.shape, -depth)])
    square = (from_target**2).sum(axis=1)
    # Blakely 1995, eq. 4.13, for 1 A m2: 100 nT m3 (from memory).
    shape = 100 * (3 * (from_target @ along) ** 2 / square - 1) / square**1.5
    weight = 1 / sd**2
    shape = shape - (weight * shape).sum() / weight.sum()
    scaled: Floats = weight * shape / np.sqrt((weight * shape**2).sum())
    return scaled


@pytest.mark.parametrize("depth", [4.0, 7.0, 12.0])
@pytest.mark.parametrize("spacing", [10.0, 25.0])
@pytest.mark.parametrize("between", [0.0, 0.5])
@pytest.mark.parametrize("length", [0.5, 1.0])
def test_the_detector_has_the_noise_it_reckons_with(
    depth: float, spacing: float, between: float, length: float
) -> None:
    east = np.repeat(np.arange(-3.0, 4.0) * spacing, 121)
    north = np.tile(np.arange(-60.0, 61.0), 7)
    sd = noise_with_background(
        east, north, sensor_sd_nT=np.full(east.shape, 0.1), background_nT=1.0, width_m=depth
    )
    near = np.hypot(east - between * spacing, north) < 4 * max(depth, between * spacing)
    east, north, sd = east[near], north[near], sd[near]
    apart = np.hypot(east[:, None] - east, north[:, None] - north) / (length * depth)
    covariance = np.exp(-(apart**2)) + 0.01 * np.eye(east.size)
    weights = detector(east, north, between * spacing, depth, sd)
    assert 0.7 <= np.sqrt(weights @ covariance @ weights) <= 1.35


def test_a_lone_reading_has_the_background_once() -> None:
    sd = noise_with_background([0.0], [0.0], sensor_sd_nT=[3.0], background_nT=4.0, width_m=5.0)
    assert sd.tolist() == [5.0]


def test_without_background_the_sensor_is_all() -> None:
    sd = noise_with_background(
        np.zeros(5), np.arange(5.0), sensor_sd_nT=np.full(5, 0.3), background_nT=0.0, width_m=5.0
    )
    assert sd.tolist() == [0.3] * 5


def test_a_reading_without_a_place_has_none() -> None:
    sd = noise_with_background(
        [0.0, np.nan], [0.0, 1.0], sensor_sd_nT=[3.0, 3.0], background_nT=4.0, width_m=5.0
    )
    assert sd[0] == 5.0
    assert np.isnan(sd[1])


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"background_nT": -1.0}, "can't be below zero"),
        ({"sensor_sd_nT": [-1.0]}, "can't be below zero"),
        ({"width_m": 0.0}, "width_m"),
        ({"sensor_sd_nT": [1.0, 1.0]}, "same length"),
    ],
)
def test_wrong_input_is_refused(changes: dict[str, object], rule: str) -> None:
    given = {"sensor_sd_nT": [1.0], "background_nT": 1.0, "width_m": 5.0} | changes
    with pytest.raises(InputError, match=rule):
        noise_with_background([0.0], [0.0], **given)  # type: ignore[arg-type]
