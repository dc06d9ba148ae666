"""The covariance is held against folded Poisson kernels, and the fit against drawn fields."""

import numpy as np
import pytest
from scipy.integrate import quad
from threadpoolctl import threadpool_limits

from lodewalk.errors import InputError
from lodewalk.methods.gridding import covariance as module
from lodewalk.methods.gridding.covariance import FieldCovariance, covariance_of, fit_covariance
from lodewalk.methods.gridding.line_blocks import line_blocks


def poisson(square, depth):
    """Upward continuation by a depth: Blakely (1995), equation 12.6 (number from memory)."""
    return depth / (2 * np.pi * (square + depth**2) ** 1.5)


def folded(apart, depth):
    """Two Poisson kernels so far apart, their product summed over the plane.

    Midpoint sums in polar coordinates about one of them, the radius stretched to infinity.
    """
    part = (np.arange(2000) + 0.5) / 2000
    radius, stretch = depth * part / (1 - part), depth / (1 - part) ** 2 / 2000
    angle = 2 * np.pi * (np.arange(720) + 0.5) / 720
    square = radius[:, None] ** 2 + apart**2 - 2 * apart * radius[:, None] * np.cos(angle)
    both = poisson(radius[:, None] ** 2, depth) * poisson(square, depth)
    return float(np.sum(both * (radius * stretch)[:, None]) * 2 * np.pi / 720)


@pytest.mark.parametrize("apart", [0.0, 3.0, 11.0, 40.0])
def test_the_covariance_is_two_poisson_kernels_folded(apart):
    depth = 7.0
    ratio = folded(apart, depth) / folded(0.0, depth)
    assert FieldCovariance(depth, 5.0).at(apart) == pytest.approx(5.0 * ratio, rel=1e-4)


def test_its_spectrum_is_that_of_upward_continuation_twice():
    """Hankel transform of order 0 at k over that at 0 is exp(-2 k d)."""
    from scipy.special import j0

    ground, k = FieldCovariance(5.0, 1.0), 0.1
    low, high = (
        quad(lambda r, k=k: r * j0(k * r) * float(ground.at(r)), 0, 4000, limit=2000)[0]
        for k in (k, 1e-9)
    )
    # The tail of the integral at k = 0 beyond R is (2 d)^3 / R.
    assert low / (high + 1000 / 4000) == pytest.approx(np.exp(-2 * k * 5.0), rel=2e-3)


def drawn(seed, depth, sd, *, noise=0.1, line=0.0, lines=9, step=5.0):
    """A field drawn from the covariance itself, by a dense Cholesky factor, plus a plane."""
    rng = np.random.default_rng(seed)
    north = np.arange(0, 200.1, step)
    east = np.repeat(np.arange(lines) * 20.0, north.size)
    number = np.repeat(np.arange(lines), north.size)
    north = np.tile(north, lines)
    square = (east[:, None] - east) ** 2 + (north[:, None] - north) ** 2
    covariance = sd**2 * (2 * depth) ** 3 / (square + 4 * depth**2) ** 1.5
    root = np.linalg.cholesky(covariance + 1e-9 * sd**2 * np.eye(east.size))
    value = root @ rng.normal(size=east.size) + rng.normal(0, noise, east.size)
    value += line * rng.normal(size=lines)[number] + 0.2 * east - 0.1 * north + 300
    return east, north, value, number


def fitted(found, noise, line=0.0):
    east, north, value, number = found
    with threadpool_limits(1):
        return fit_covariance(
            east, north, value, sd_nT=np.full(east.size, noise), passage=number,
            line_spacing_m=20.0, line_sd_nT=line,
        )  # fmt: skip


@pytest.mark.parametrize(("depth", "noise", "line"), [(8.0, 0.1, 0.0), (20.0, 0.1, 1.0)])
def test_depth_and_variance_of_drawn_fields_come_back(depth, noise, line):
    """Steps of depth are 1.5 times at first, 1.23 at last: the middle of trials is within one."""
    ground = [fitted(drawn(seed, depth, 5.0, noise=noise, line=line), noise, line)
              for seed in range(7)]  # fmt: skip
    assert np.median([one.depth_m for one in ground]) == pytest.approx(depth, rel=0.25)
    middle = np.median([one.variance_nT2 for one in ground])
    # Seven windows, each of some tens of independent patches of the field.
    assert 0.6 < middle / 25 < 1.7


def test_noise_is_not_taken_for_ground():
    """With its sd given, white noise leaves the depth of a smooth field alone."""
    quiet, noisy = (fitted(drawn(3, 20.0, 5.0, noise=noise), noise) for noise in (0.05, 1.0))
    assert 0.6 < noisy.depth_m / quiet.depth_m < 1.7
    assert fitted(drawn(3, 20.0, 5.0, noise=1.0), 0.05).depth_m < 0.5 * quiet.depth_m


def test_a_plane_changes_nothing():
    found = drawn(1, 10.0, 5.0)
    flat = (*found[:2], found[2] - 0.2 * found[0] + 0.1 * found[1], found[3])
    one, other = fitted(found, 0.1), fitted(flat, 0.1)
    assert one.depth_m == other.depth_m
    assert one.variance_nT2 == pytest.approx(other.variance_nT2, rel=0.03)


def test_large_surveys_are_judged_in_windows_that_tell_rough_from_quiet(monkeypatch):
    monkeypatch.setattr(module, "IN_WINDOW", 60)
    east, north, value, number = drawn(2, 10.0, 5.0)
    value = np.where(east > 90, 300 + 10 * (value - 300), value)
    ground = fitted((east, north, value, number), 0.1)
    assert len(ground.window_variance_nT2) == 5
    assert max(ground.window_variance_nT2) > 20 * min(ground.window_variance_nT2)
    depths = [trial.depth_m for trial in ground.tried]
    assert depths == sorted(depths)
    assert ground.depth_m == min(ground.tried, key=lambda trial: trial.deviance).depth_m


def test_too_little_is_refused():
    blocks = line_blocks(np.arange(20.0) * 9, np.zeros(20), np.ones(20), sd_nT=np.ones(20),
                         passage=np.zeros(20, int), size_m=5.0)  # fmt: skip
    with pytest.raises(InputError, match="at least 30 block means"):
        covariance_of(blocks, line_spacing_m=20.0)
    with pytest.raises(InputError, match="depth_m"):
        FieldCovariance(0.0, 1.0)
    with pytest.raises(InputError, match="position, value and sd"):
        line_blocks([np.nan], [0.0], [1.0], sd_nT=[1.0], passage=[0], size_m=5.0)
