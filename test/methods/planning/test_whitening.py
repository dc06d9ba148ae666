"""Whitening of many blocks line by line is held against the whole covariance, solved by LAPACK."""

from dataclasses import replace

import numpy as np
import pytest

from lodewalk.methods.planning.line_layout import LineLayout, block_means, parallel_lines
from lodewalk.methods.planning.survey_noise import RandomField, SurveyNoise
from lodewalk.methods.planning.whitening import whitened

AREA = [(0, 0), (300, 0), (300, 180), (0, 180)]
NOISE = SurveyNoise(geology=(RandomField(3.0, 40.0), RandomField(0.5, 3.0)))


def covariance_of(blocks, noise):
    """Return the covariance of the noise without levels, written out anew."""
    away = np.hypot(np.subtract.outer(blocks.easting_m, blocks.easting_m),
                    np.subtract.outer(blocks.northing_m, blocks.northing_m))  # fmt: skip
    apart = np.abs(np.subtract.outer(blocks.time_s, blocks.time_s))
    total = noise.diurnal_nT**2 * np.exp(-apart / noise.diurnal_s)
    for field in noise.geology:
        total += field.sd_nT**2 * (1 + (away / (2 * field.depth_m)) ** 2) ** -1.5
    return total + np.diag((noise.instrument_nT**2 + noise.walking_nT**2) / blocks.count)


def sizes(blocks, noise, values):
    """Return expected scores with the level of each line free, by generalised least squares."""
    inverse = np.linalg.inv(covariance_of(blocks, noise))
    levels = (blocks.line[:, None] == np.unique(blocks.line)).astype(float)
    left = inverse @ levels
    free = inverse - left @ np.linalg.solve(levels.T @ left, left.T)
    return np.sqrt(np.einsum("ik,ij,jk->k", values, free, values))


def bumps(blocks, depth, strike):
    """Return anomalies of long and round bodies, (1 + r^2 / h^2)^-1 in shape."""
    turn = np.radians(strike)
    found = []
    for east, north in ((150, 90), (60, 60), (250, 30)):
        x, y = blocks.easting_m - east, blocks.northing_m - north
        across = x * np.cos(turn) - y * np.sin(turn)
        found += [1 / (1 + (across / depth) ** 2), 1 / (1 + (x**2 + y**2) / depth**2)]
    return np.array(found).T


@pytest.mark.parametrize(
    ("azimuth", "noise", "room"),
    [
        (0.0, NOISE, 0.01),
        (20.0, NOISE, 0.01),
        (0.0, SurveyNoise(0.5, 3.0, 0.3, geology=(RandomField(0.3, 22.0),)), 0.02),
        (0.0, SurveyNoise(0.1, 0.3, 3.0, 200.0, geology=(RandomField(8.0, 15.0),)), 0.01),
    ],
)
def test_line_by_line_gives_the_scores_of_the_whole_covariance(azimuth, noise, room):
    lines = parallel_lines(AREA, LineLayout(azimuth, 12.0, 120.0))
    blocks = block_means(lines, 6.0)
    assert blocks.count.size > 500
    values = bumps(blocks, 12.0, 90.0)
    white = whitened(blocks, noise, values)
    found = np.sqrt(np.sum(white**2, axis=0))
    wanted = sizes(blocks, noise, values)
    assert found[::2] == pytest.approx(wanted[::2], rel=room)
    assert found[1::2] == pytest.approx(wanted[1::2], rel=0.04)


def test_few_lines_along_a_body_are_whitened_as_a_whole():
    lines = parallel_lines(AREA, LineLayout(90.0, 12.0, 120.0))
    blocks = block_means(lines, 6.0)
    assert blocks.count.size > 500
    values = bumps(blocks, 12.0, 90.0)
    found = np.sqrt(np.sum(whitened(blocks, NOISE, values) ** 2, axis=0))
    assert found == pytest.approx(sizes(blocks, NOISE, values), rel=1e-3)


def test_few_blocks_are_whitened_as_a_whole():
    lines = parallel_lines(AREA, LineLayout(0.0, 40.0, 120.0))
    blocks = block_means(lines, 12.0)
    assert blocks.count.size < 200
    values = bumps(blocks, 12.0, 90.0)
    white = whitened(blocks, NOISE, values)
    assert np.sqrt(np.sum(white**2, axis=0)) == pytest.approx(
        sizes(blocks, NOISE, values), rel=1e-3
    )
    # By lines, all of which are near, the same.
    by_lines = whitened(blocks, NOISE, values, exact=0, many_lines=0)
    assert by_lines.T @ by_lines == pytest.approx(white.T @ white, rel=0.02, abs=0.5)


def test_a_level_of_a_line_is_nothing():
    lines = parallel_lines(AREA, LineLayout(0.0, 12.0, 120.0))
    blocks = block_means(lines, 6.0)
    level = (blocks.line == 3).astype(float)[:, None]
    assert np.abs(whitened(blocks, NOISE, level)).max() < 1e-9
    assert np.abs(whitened(blocks, replace(NOISE, level_nT=0.0), level)).max() < 1e-9
