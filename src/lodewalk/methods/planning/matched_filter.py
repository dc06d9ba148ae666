"""The detector: a matched filter scanned over the places and strikes that a target may have."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.spatial.distance import pdist

from lodewalk.errors import InputError
from lodewalk.methods.planning.line_layout import (
    Blocks,
    Readings,
    area_corners,
    area_size,
    block_means,
    frame_of,
    within_area,
)
from lodewalk.methods.planning.sought import PreparedTarget
from lodewalk.methods.planning.survey_noise import SurveyNoise, block_noise, noise_covariance
from lodewalk.validation import FloatArray

IntArray = NDArray[np.int64]

#: Readings count as far as this many depths beyond the body, or half a line spacing and a depth
#: where that is more.
REACH: Final = 3.0

#: Blocks in one window at most: the nearest.
MOST_BLOCKS: Final = 2500

#: Places that share a window in a scan, along each axis.
TILE: Final = 4


@dataclass(frozen=True)
class Templates:
    """Places and strikes that are tried together, and their unit filters over whitened blocks.

    Parameters
    ----------
    block : int array, shape (n,)
        Blocks in the window.
    root : float array, shape (n, n)
        Lower Cholesky factor of the covariance of their noise.
    place_m : float array, shape (n_templates, 2)
        Easting and northing [m].
    strike : int array, shape (n_templates,)
        Number of the strike.
    unit : float array, shape (n, n_templates)
        Whitened template, of length 1.
    gain : float array, shape (n_templates,)
        Expected score of a target as expected in that place.
    """

    block: IntArray
    root: FloatArray
    place_m: FloatArray
    strike: IntArray
    unit: FloatArray
    gain: FloatArray

    def scores(self, means_nT: ArrayLike) -> FloatArray:
        """Return the scores of block means of the whole survey.

        Parameters
        ----------
        means_nT : array, shape (..., n_blocks)
            Mean anomaly of each block [nT].

        Returns
        -------
        array, shape (..., n_templates)
            Scores, of unit variance where there is noise alone.
        """
        own = np.asarray(means_nT, dtype=np.float64)[..., self.block]
        white = solve_triangular(self.root, own.reshape(-1, self.block.size).T, lower=True)
        scores: FloatArray = (white.T @ self.unit).reshape(*own.shape[:-1], -1)
        return scores


@dataclass(frozen=True)
class Scan:
    """Scores of all places and strikes of a survey.

    Parameters
    ----------
    place_m : float array, shape (n, 2)
        Easting and northing [m].
    strike_deg : float array, shape (n,)
        Strike [deg].
    score : float array, shape (n,)
        Score, of unit variance where there is noise alone.
    """

    place_m: FloatArray
    strike_deg: FloatArray
    score: FloatArray


@dataclass(frozen=True)
class Detector:
    """The detector of a target over an area, for given readings.

    Parameters
    ----------
    blocks : Blocks
        Block means of the readings.
    corners_m : float array, shape (n, 2)
        Vertices of the area [m].
    prepared : PreparedTarget
        The target.
    noise : SurveyNoise
        Noise of the block means (`block_noise`).
    spacing_m : float
        Line spacing, from which reach and tolerance follow [m].
    step_m : (float, float)
        Step of the places that are tried, across and along the strike [m].
    """

    blocks: Blocks
    corners_m: FloatArray
    prepared: PreparedTarget
    noise: SurveyNoise
    spacing_m: float
    step_m: tuple[float, float]

    def templates(
        self, centre_m: ArrayLike, nodes: IntArray, strikes: IntArray, extent_m: tuple[float, float]
    ) -> Templates | None:
        """Return the templates of some nodes, over a window round a centre.

        Parameters
        ----------
        centre_m : array, shape (2,)
            Middle of the window [m].
        nodes : int array, shape (n_templates, 2)
            Steps across and along the strike from the frame's origin.
        strikes : int array, shape (n_templates,)
            Number of the strike.
        extent_m : (float, float)
            How far the nodes lie from the centre at most, across and along [m].

        Returns
        -------
        Templates or None
            None where there are fewer than two blocks or no nodes.
        """
        block = self.window(centre_m, extent_m)
        if block.size < 2 or not len(nodes):
            return None
        own = self.blocks.part(block)
        root = cholesky(
            noise_covariance(own, self.noise), lower=True, overwrite_a=True, check_finite=False
        )
        places = self.places(nodes)
        raw = looked_up(self.prepared, own, places, strikes)
        white = solve_triangular(root, raw, lower=True, check_finite=False)
        gain = np.maximum(np.sqrt(np.sum(white**2, axis=0)), 1e-12)
        return Templates(block, root, places, strikes, white / gain, gain)

    def places(self, nodes: IntArray | FloatArray) -> FloatArray:
        """Return easting and northing of nodes [m]."""
        frame = frame_of(self.prepared.target.strike_deg)
        places: FloatArray = self.corners_m[0] + (nodes * np.array(self.step_m)) @ frame.T
        return places

    def steps(self, place_m: ArrayLike) -> FloatArray:
        """Return places as steps across and along from the frame's origin."""
        frame = frame_of(self.prepared.target.strike_deg)
        turned = (np.asarray(place_m, dtype=np.float64) - self.corners_m[0]) @ frame
        return np.asarray(turned / np.array(self.step_m))

    def nodes_near(self, place_m: ArrayLike) -> IntArray:
        """Return the nodes of the area within the tolerance of a place, shape (n, 2)."""
        tolerance = np.array(self.prepared.tolerance(self.spacing_m))
        reach = tolerance / np.array(self.step_m) + 1e-9
        middle = self.steps(place_m)
        low, high = np.ceil(middle - reach), np.floor(middle + reach)
        return self._inside(low.astype(np.int64), high.astype(np.int64))

    def tiles(self) -> Iterator[Templates]:
        """Yield the templates of the whole area, tile by tile."""
        steps = self.steps(self.corners_m)
        low = np.floor(steps.min(axis=0)).astype(np.int64)
        high = np.ceil(steps.max(axis=0)).astype(np.int64)
        count = len(self.prepared.strikes_deg)
        half = 0.5 * (TILE - 1) * np.array(self.step_m)
        for across in range(low[0], high[0] + 1, TILE):
            for along in range(low[1], high[1] + 1, TILE):
                first = np.array([across, along])
                nodes, strikes = with_strikes(self._inside(first, first + TILE - 1), count)
                centre = self.places(first[None] + 0.5 * (TILE - 1))[0]
                found = self.templates(centre, nodes, strikes, (half[0], half[1]))
                if found is not None:
                    yield found

    def _inside(self, low: IntArray, high: IntArray) -> IntArray:
        """Return the nodes between two corners that lie in the area."""
        axes = [np.arange(a, b + 1) for a, b in zip(low, high, strict=True)]
        nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
        inside: IntArray = nodes[within_area(self.places(nodes), self.corners_m)]
        return inside

    def window(self, centre_m: ArrayLike, extent_m: tuple[float, float]) -> IntArray:
        """Return the blocks in reach of nodes round a centre, as for `templates`."""
        centre, extent = np.asarray(centre_m, dtype=np.float64), extent_m
        prepared, target = self.prepared, self.prepared.target
        swing = np.abs(prepared.strikes_deg - target.strike_deg).max()
        sideways = prepared.half_length_m * np.sin(np.radians(min(swing, 90.0)))
        reach = max(REACH * prepared.below_m, 0.5 * self.spacing_m + prepared.below_m)
        offset = np.column_stack([self.blocks.easting_m, self.blocks.northing_m]) - centre
        across, along = np.abs(offset @ frame_of(target.strike_deg)).T
        inside = across <= extent[0] + target.half_width_m + sideways + reach
        inside &= along <= extent[1] + prepared.half_length_m + reach
        block = np.flatnonzero(inside)
        if block.size > MOST_BLOCKS:
            away = np.hypot(across, along)[block]
            block = np.sort(block[np.argsort(away, kind="stable")[:MOST_BLOCKS]])
        return block


def make_detector(
    readings: Readings,
    area_m: ArrayLike,
    *,
    prepared: PreparedTarget,
    noise: SurveyNoise,
    spacing_m: float,
) -> Detector:
    """Return the detector for readings over an area.

    Parameters
    ----------
    readings : Readings
        Planned or recorded readings.
    area_m : array, shape (n, 2)
        Vertices of the area [m], in which the target's middle may lie anywhere.
    prepared : PreparedTarget
        The target.
    noise : SurveyNoise
        Noise of single readings.
    spacing_m : float
        Line spacing [m].

    Returns
    -------
    Detector

    Raises
    ------
    InputError
        When the area has no size.

    Notes
    -----
    The detector is fixed before any data are seen. Readings are averaged over blocks of half a
    depth along the line. Templates are the expected anomaly of the expected depth, at nodes
    half a depth apart across the strike and half a depth or an eighth of the length along it,
    for strikes within 1.5 sd; nodes lie closer where the area is narrower than twice that. With
    ``a`` a template, ``d`` the block means and ``C`` the covariance of their noise, in which
    each line's level is free, the score

    ``T = a' C^-1 d / sqrt(a' C^-1 a)``

    has unit variance under noise alone (matched filter, Kay 1998, chapter 4, from memory). Blocks
    count as far as three depths, or half a line spacing and a depth, beyond the body and the
    nodes that share a window.

    References
    ----------
    Kay, S. M. (1998), Fundamentals of Statistical Signal Processing, volume 2, Detection Theory,
    Prentice Hall.
    """
    blocks = block_means(readings, prepared.block_m)
    corners = area_corners(area_m)
    # In a narrow area places lie close enough that some are inside all along it.
    longest = float(pdist(corners).max())
    most = 0.5 * area_size(corners) / longest if longest > 0 else 0.0
    if not most > 0:
        raise InputError("An area must have a size.", value=corners)
    across, along = prepared.step_m
    step = (min(across, most), min(along, most))
    own = block_noise(noise, prepared.block_m)
    return Detector(blocks, corners, prepared, own, spacing_m, step)


def scan_survey(detector: Detector, value_nT: ArrayLike) -> Scan:
    """Score all places and strikes of an area.

    Parameters
    ----------
    detector : Detector
        The detector.
    value_nT : array, shape (n_readings,)
        Anomaly of each reading [nT].

    Returns
    -------
    Scan
        Tile by tile.
    """
    value = np.asarray(value_nT, dtype=np.float64)
    means = detector.blocks.means(value - np.median(value))
    parts = [(tile.place_m, tile.strike, tile.scores(means)) for tile in detector.tiles()]
    if not parts:
        return Scan(np.empty((0, 2)), np.empty(0), np.empty(0))
    places, strikes, scores = zip(*parts, strict=True)
    strike = detector.prepared.strikes_deg[np.concatenate(strikes)]
    return Scan(np.vstack(places), strike, np.concatenate(scores))


def with_strikes(nodes: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Return each node with each strike.

    Examples
    --------
    >>> with_strikes(np.array([[3, 4]]), 2)[1].tolist()
    [0, 1]
    """
    return np.repeat(nodes, count, axis=0), np.tile(np.arange(count), len(nodes))


def looked_up(
    prepared: PreparedTarget,
    blocks: Blocks,
    place_m: FloatArray,
    number: IntArray,
    *,
    draws: bool = False,
) -> FloatArray:
    """Return the anomaly of targets at blocks, from the tables.

    Parameters
    ----------
    prepared : PreparedTarget
        The target.
    blocks : Blocks
        Where [m].
    place_m : array, shape (n_targets, 2)
        Middle of each target [m].
    number : int array, shape (n_targets,)
        Number of its strike, or of its draw.
    draws : bool
        Take the draws, averaged over each block, instead of the templates at its middle.

    Returns
    -------
    array, shape (n_blocks, n_targets)
        Anomaly [nT], by cubic convolution; beyond the tables that of their edge.
    """
    tables = prepared.draws if draws else prepared.templates
    strikes = np.radians(prepared.draw_strikes_deg if draws else prepared.strikes_deg)
    total = np.zeros((blocks.count.size, number.size))
    # Two points stand for the mean over a block: Gauss's, a standard deviation to either side.
    ends = (-1.0, 1.0) if draws else (0.0,)
    for end in ends:
        total += _looked_up(
            tables,
            prepared.table_step_m,
            np.sin(strikes),
            np.cos(strikes),
            blocks.easting_m + end * blocks.spread_m[:, 0],
            blocks.northing_m + end * blocks.spread_m[:, 1],
            np.ascontiguousarray(place_m),
            number,
        )
    return total / len(ends)


@njit(nogil=True, cache=True)
def _looked_up(
    tables: FloatArray,
    step: tuple[float, float],
    sines: FloatArray,
    cosines: FloatArray,
    easts: FloatArray,
    norths: FloatArray,
    places: FloatArray,
    numbers: IntArray,
) -> FloatArray:
    """Look up each block and target in the frame of its strike."""
    _, rows, columns = tables.shape
    found = np.empty((easts.size, numbers.size))
    for j in range(numbers.size):
        table, sine, cosine = tables[numbers[j]], sines[numbers[j]], cosines[numbers[j]]
        for i in range(easts.size):
            east, north = easts[i] - places[j, 0], norths[i] - places[j, 1]
            row = (east * cosine - north * sine) / step[0] + 0.5 * (rows - 1)
            column = (east * sine + north * cosine) / step[1] + 0.5 * (columns - 1)
            found[i, j] = _cubic(table, row, column)
    return found


@njit(nogil=True, cache=True)
def _cubic(table: FloatArray, row: float, column: float) -> float:
    """Interpolate by cubic convolution (Keys 1981, from memory)."""
    rows, columns = table.shape
    row = min(max(row, 1.0), rows - 2.001)
    column = min(max(column, 1.0), columns - 2.001)
    first, second = int(row), int(column)
    s, t = row - first, column - second
    total = 0.0
    for m in range(4):
        part = 0.0
        for n in range(4):
            part += _weight(n, t) * table[first - 1 + m, second - 1 + n]
        total += _weight(m, s) * part
    return total


@njit(nogil=True, cache=True)
def _weight(number: int, t: float) -> float:
    """Return the weight of one of four neighbours."""
    if number == 0:
        return ((-0.5 * t + 1.0) * t - 0.5) * t
    if number == 1:
        return (1.5 * t - 2.5) * t * t + 1.0
    if number == 2:
        return ((-1.5 * t + 2.0) * t + 0.5) * t
    return (0.5 * t - 0.5) * t * t
