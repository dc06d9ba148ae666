"""Models of the field around a block of readings: layers of sources, and single dipoles.

Lengths are in sensor heights, the field in sd of its noise.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from lodewalk.methods.checks.spans import IntArray
from lodewalk.validation import FloatArray

#: Log odds of spike against a single dipole that a spike has to reach, where readings are at
#: most 0.75 and at least one sensor height apart; beforehand dipoles are rarer than spikes.
ODDS: Final = ((0.75, 1.0), (-1.5, 2.5))

#: Depths of the layers of sources, in sensor heights below the sensor: from the ground down.
LAYER_DEPTHS: Final = (1.0, 1.4, 2.0, 3.0)

#: Sd of the field of a layer, in noise sd.
LAYER_AMPLITUDES: Final = tuple(4.0**power for power in range(7))

#: What uneven steps leave in each reading, as a share of the strength of the layer: steps that
#: vary by 6 % where the field changes by its strength within 3 steps.
UNEVEN: Final = 0.02

#: Depths of a single dipole, as shares of the least.
DIPOLE_DEPTHS: Final = (1.0, 1.25, 1.6, 2.2, 3.0)

#: Places of a single dipole from the middle of the block: in readings, or 0.6 sensor heights.
DIPOLE_PLACES: Final = tuple(0.3 * step for step in range(-8, 9))

#: What a single dipole leaves of its own strength: in each reading, and in layers at the depths.
DIPOLE_REST: Final = (0.01, ((0.05, 1.0), (0.3, 4.0)))

#: Least and largest distance between readings over sensor height, and the step between classes.
SPACINGS: Final = (0.05, 2.0, 1.25)


@dataclass(frozen=True)
class BlockPredictor:
    """How each model of the field predicts a block from the readings `around` it, in noise sd.

    `whiten` turns the readings around into numbers of sd 1 that know nothing of each other;
    `log_scale` is the log of their density where all are zero, less its constant.
    """

    around: IntArray
    weights: FloatArray
    sd: FloatArray
    whiten: FloatArray
    log_scale: FloatArray


def spacing_class(spacing: FloatArray) -> IntArray:
    """Return the class of each spacing of the readings, the next larger one."""
    low, high, factor = SPACINGS
    step = np.log(np.clip(spacing, low, high) / low) / np.log(factor)
    return np.asarray(np.ceil(step - 1e-9), dtype=np.int64)


@lru_cache(maxsize=512)
def block_predictor(width: int, before: int, after: int, kind: int) -> BlockPredictor:
    """Return the predictor of a block at one spacing of the readings."""
    low, _, factor = SPACINGS
    offsets = np.arange(-before, width + after)
    inside = (offsets >= 0) & (offsets < width)
    covariance = _covariances(np.asarray(offsets * low * factor**kind, dtype=np.float64))
    around = covariance[:, ~inside][:, :, ~inside]
    cross = covariance[:, ~inside][:, :, inside]
    weights = np.asarray(np.linalg.solve(around, cross), dtype=np.float64)
    left = covariance[:, inside][:, :, inside] - cross.transpose(0, 2, 1) @ weights
    root = np.linalg.cholesky(around)
    return BlockPredictor(
        around=offsets[~inside],
        weights=weights,
        sd=np.sqrt(np.diagonal(left, axis1=1, axis2=2))[:, np.newaxis, :],
        whiten=np.linalg.inv(root),
        log_scale=-np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)[:, np.newaxis],
    )


def _covariances(place: FloatArray) -> FloatArray:
    """Return the covariance of readings for each depth and strength of the layer."""
    apart = place[:, np.newaxis] - place
    line = _line(place)
    broad = _layer(apart, 5.0)
    uneven = UNEVEN**2 * np.eye(place.size)
    return np.stack(
        [
            line + strength**2 * (_layer(apart, depth) + 9 * broad + uneven)
            for depth in LAYER_DEPTHS
            for strength in LAYER_AMPLITUDES
        ]
    )


def _line(place: FloatArray) -> FloatArray:
    """Return the covariance of noise, and of a level and a slope that may be anything."""
    return np.asarray(np.eye(place.size) + 1e8 + 1e6 * np.outer(place, place))


def _layer(apart: FloatArray, depth: float) -> FloatArray:
    """Return the covariance of the field over a layer of random dipoles, 1 at distance zero."""
    square = (apart / (2 * depth)) ** 2
    return np.asarray((1 - 1.5 * square) / (1 + square) ** 3.5)


@dataclass(frozen=True)
class SingleDipoles:
    """How well each single dipole near a block explains all readings; see `BlockPredictor`.

    `least_odds` are the log odds that a spike has to reach at this spacing.
    """

    offsets: IntArray
    whiten: FloatArray
    log_scale: FloatArray
    least_odds: float


@lru_cache(maxsize=512)
def single_dipoles(
    width: int, before: int, after: int, kind: int, least_depth: float
) -> SingleDipoles:
    """Return the models of a single dipole near a block at one spacing of the readings."""
    low, _, factor = SPACINGS
    spacing = low * factor**kind
    offsets = np.arange(-before, width + after)
    place = np.asarray(offsets * spacing, dtype=np.float64)
    depth = np.repeat(least_depth * np.array(DIPOLE_DEPTHS), len(DIPOLE_PLACES))
    places = (width - 1) / 2 * spacing + max(spacing, 0.6) * np.array(DIPOLE_PLACES)
    centre = np.tile(places, len(DIPOLE_DEPTHS))
    field = _dipole(place - centre[:, np.newaxis], place, depth)
    covariance = np.concatenate(
        [_line(place) + strength**2 * field for strength in LAYER_AMPLITUDES[1:]]
    )
    root = np.linalg.cholesky(covariance)
    log_scale = -np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)[:, np.newaxis]
    return SingleDipoles(
        offsets=offsets,
        whiten=np.linalg.inv(root),
        log_scale=log_scale - np.log(len(covariance)),
        least_odds=float(np.interp(spacing, *ODDS)),
    )


def _dipole(off: FloatArray, place: FloatArray, depth: FloatArray) -> FloatArray:
    """Return the covariance of the field of dipoles of random direction, and what they leave."""
    below = (depth**2)[:, np.newaxis, np.newaxis]
    square = off**2 + below[:, 0]
    both = square[:, :, np.newaxis] * square[:, np.newaxis, :]
    cosine_square = (off[:, :, np.newaxis] * off[:, np.newaxis, :] + below) ** 2 / both
    apart = place[:, np.newaxis] - place
    nugget, layers = DIPOLE_REST
    rest = nugget**2 * np.eye(place.size)
    for share, deep in layers:
        rest += share**2 * _layer(apart, deep)
    return np.asarray(below**3 * (3 * cosine_square - 1) / (2 * both**1.5) + rest)


def log_evidence(readings: FloatArray, whiten: FloatArray, log_scale: FloatArray) -> FloatArray:
    """Return the log density of rows of readings under each model, in noise sd."""
    white = readings @ whiten.transpose(0, 2, 1)
    constant = 0.5 * readings.shape[1] * np.log(2 * np.pi)
    return np.asarray(log_scale - constant - 0.5 * (white**2).sum(axis=2))
