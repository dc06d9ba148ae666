"""Stated errors of a grid held against readings left out, place by place."""

from collections.abc import Callable
from functools import partial
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from lodewalk.errors import InputError
from lodewalk.methods.gridding.covariance import FieldCovariance
from lodewalk.methods.gridding.ground import Region
from lodewalk.methods.gridding.interface import grid_readings, region_for
from lodewalk.methods.gridding.line_blocks import LineBlocks, line_blocks
from lodewalk.methods.gridding.standard_error import (
    NEIGHBOURS,
    Calibration,
    Surface,
    error_shares,
)
from lodewalk.validation import FloatArray, check_positive, check_same_length

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Nodes between lines; lengths of averaging in line spacings: roughness, misfit, left-out errors.
NODES_BETWEEN: Final = 4
_ROUGHNESS, _MISFIT, _LOCAL = 0.25, 0.5, 0.75
#: Fewer left-out block means than this tell nothing; of more than the second, two folds are enough.
LEAST: Final = 40
PLENTY: Final = 8_000
#: Weight of the whole survey beside what lies near, in block means; least part of the usual.
_WHOLE: Final = 0.5
_LEAST_PART: Final = 0.02
#: Bounds of factors of variance; the part inside an interval, and its half width in sd.
_FACTORS: Final = (0.02, 400.0)
_INSIDE, _TIMES = 0.9, 1.645


#: Grids easting, northing and value of readings, with their sd and passages, on a region of nodes
#: so far apart [m].
Engine = Callable[
    [tuple[FloatArray, FloatArray, FloatArray], FloatArray, IntArray, Region, float], FloatArray
]


class _Readings(NamedTuple):
    """Readings and their fold, -1 for those never left out."""

    easting: FloatArray
    northing: FloatArray
    value: FloatArray
    sd: FloatArray
    passage: IntArray
    fold: IntArray
    shared: FloatArray


class _LeftOut(NamedTuple):
    """Left-out block means: place in nodes, error, shares of its variance, roughness there."""

    row: FloatArray
    column: FloatArray
    error: FloatArray
    field: FloatArray
    noise: FloatArray
    roughness: FloatArray
    fold: IntArray


def calibrate(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value_nT: ArrayLike,
    *,
    sd_nT: ArrayLike,
    passage: ArrayLike,
    lines: ArrayLike,
    pieces: ArrayLike,
    covariance: FieldCovariance,
    surface: Surface | None,
    line_spacing_m: float,
    engine: Engine | None = None,
    line_sd_nT: float = 0.0,
    shared: ArrayLike | None = None,
    neighbours: int = NEIGHBOURS,
) -> Calibration:
    """Make stated errors as large as those of readings left out.

    Parameters
    ----------
    easting_m, northing_m, value_nT, sd_nT : array, shape (n,)
        Readings that the grid was made from, and the sd of their own errors; none missing.
    passage : int array, shape (n,)
        Number of the passage of each reading; -1 for none.
    lines, pieces : int array, shape (n,)
        Fold of each reading, from `line_folds` and `piece_folds` with the line spacing as their
        length. Pieces are left out, but not of the outermost lines (-1 in `lines`), since beyond
        them nothing would predict them.
    covariance : FieldCovariance
        Covariance of the anomaly.
    surface : Surface or None
        How the grid was made by minimum curvature; None for another engine.
    line_spacing_m : float
        Distance between lines [m].
    engine : callable, optional
        What the grid was made with: (easting, northing, value), sd, passage, region and distance of
        nodes [m] to values, NaN where it gives none (default: minimum curvature as in `surface`).
    line_sd_nT : float
        Standard deviation of the error that the readings of a passage share [nT].
    shared : array, shape (n, k), optional
        Further errors that they share, as in `line_blocks`.
    neighbours : int
        As in `standard_error`.

    Returns
    -------
    Calibration
        All factors 1 where fewer than forty block means can be left out.

    Raises
    ------
    InputError
        When lengths differ, or a number is missing or out of range.

    Notes
    -----
    1. Each fold of pieces is left out, the surface made again with the same settings on a grid of
       four nodes a line spacing, and the left-out block means compared with it: error and
       predicted variance, `error_shares`.
    2. Ground is quiet here and rough there. The field's share is taken as proportional to the
       surface's own squared curvature near the place, and to the mean square of left-out errors
       (less their noise) around it, of the other folds.
    3. One more factor makes nine tenths of all the errors lie within 1.645 sd.
    4. What the full surface misses its own readings by, beyond their noise, is added: damping and
       the finite grid do that over sharp anomalies.

    Errors of readings are never scaled, so the sd stays above what they alone require. A body
    that no reading shows can't be known: the intervals hold on the average of such ground as the
    survey has.

    References
    ----------
    .. [1] Wahba, G. (1990), Spline Models for Observational Data, SIAM, chapters 4 and 5 (from
       memory), doi:10.1137/1.9781611970128.

    Examples
    --------
    A stated variance a hundred times too large is taken back:

    >>> east, north = np.repeat(np.arange(9) * 20.0, 41), np.tile(np.arange(0, 164.0, 4), 9)
    >>> lines = np.repeat([-1, 0, 1, 2, 3, 0, 1, 2, -1], 41)
    >>> found = calibrate(east, north, 5 * np.sin(east / 30) * np.cos(north / 20),
    ...                   sd_nT=np.full(369, 0.01), passage=np.repeat(np.arange(9), 41),
    ...                   lines=lines, pieces=(np.arange(369) // 5) % 5, line_spacing_m=20.0,
    ...                   surface=Surface(0.04, 0.0, 5.0, 5.0, 0.01),
    ...                   covariance=FieldCovariance(20.0, 2500.0))
    >>> bool(np.median(found.factor) < 0.1)
    True
    """
    check_positive(line_spacing_m, name="line_spacing_m")
    check_same_length(value_nT=value_nT, lines=lines, pieces=pieces)
    readings = _Readings(
        easting=np.asarray(easting_m, dtype=np.float64),
        northing=np.asarray(northing_m, dtype=np.float64),
        value=np.asarray(value_nT, dtype=np.float64),
        sd=np.asarray(sd_nT, dtype=np.float64),
        passage=np.asarray(passage, dtype=np.int64),
        fold=np.where(np.asarray(lines) < 0, -1, np.asarray(pieces, dtype=np.int64)),
        shared=np.zeros((np.size(value_nT), 1)) if shared is None else np.asarray(shared),
    )
    check_same_length(**readings._asdict())
    node = line_spacing_m / NODES_BETWEEN
    region = region_for(readings.easting, readings.northing, spacing_m=node, reach_m=line_spacing_m)
    blocks = _blocks(readings, node)
    judge = _Judge(
        region,
        node,
        covariance,
        surface,
        engine or _curvature_engine(surface),
        line_sd_nT,
        neighbours,
    )
    whole = judge.surface(readings)
    misfit = judge.misfit(readings, whole)
    left = judge.left_out(readings, blocks, misfit)
    if left.error.size < LEAST or len(np.unique(left.fold)) < 2:
        plain = np.ones(region.shape)
        return Calibration(region.west_m, region.south_m, node, plain, misfit, 1.0, 0)
    factor, overall = _factor(left, judge.roughness(whole), _LOCAL * NODES_BETWEEN)
    return Calibration(
        region.west_m, region.south_m, node, factor, misfit, overall, left.error.size
    )


def _blocks(readings: _Readings, size_m: float) -> LineBlocks:
    """Return the block means of all readings, by fold."""
    return line_blocks(
        *readings[:3], sd_nT=readings.sd, passage=readings.passage, size_m=size_m,
        fold=readings.fold, shared=readings.shared,
    )  # fmt: skip


def _curvature_engine(surface: Surface | None) -> Engine:
    """Return minimum curvature with some settings, everywhere on its grid."""
    if surface is None:
        raise InputError("A calibration needs a surface or an engine.")

    def made(
        readings: tuple[FloatArray, FloatArray, FloatArray], sd: FloatArray, _passage: IntArray,
        region: Region, node_m: float,
    ) -> FloatArray:  # fmt: skip
        return grid_readings(
            *readings, sd=sd, **region._asdict(), spacing_m=node_m,
            reach_m=node_m * (sum(region.shape) + 1), method="minimum curvature",
            tension=surface.tension, damping_m2=surface.damping_m2,
            tension_length_m=surface.tension_length_m,
        )  # fmt: skip

    return made


class _Judge(NamedTuple):
    """What all surfaces of one survey share."""

    region: Region
    node_m: float
    covariance: FieldCovariance
    settings: Surface | None
    engine: Engine
    line_sd_nT: float
    neighbours: int

    def surface(self, readings: _Readings) -> FloatArray:
        """Return the surface of readings, everywhere on the grid where there is one."""
        sd = np.hypot(readings.sd, self.line_sd_nT)
        return self.engine(readings[:3], sd, readings.passage, self.region, self.node_m)

    def place(self, easting: FloatArray, northing: FloatArray) -> list[FloatArray]:
        """Return rows and columns of places."""
        return [
            (northing - self.region.south_m) / self.node_m,
            (easting - self.region.west_m) / self.node_m,
        ]

    def roughness(self, surface: FloatArray) -> FloatArray:
        """Return the squared curvature of a surface, averaged over a fraction of the spacing."""
        slopes = np.gradient(_filled(surface))
        square = sum(bend**2 for slope in slopes for bend in np.gradient(slope))
        return np.asarray(gaussian_filter(square, _ROUGHNESS * NODES_BETWEEN))

    def misfit(self, readings: _Readings, surface: FloatArray) -> FloatArray:
        """Return the variance by which a surface misses its readings, beyond their own errors.

        What is left of a reading's error is what the surface doesn't follow.
        """
        place = self.place(readings.easting, readings.northing)
        error = readings.value - _sampled(surface, place)
        told = np.isfinite(error)
        place, error = [axis[told] for axis in place], error[told]
        readings = _Readings._make(part[told] for part in readings)
        blocks = _blocks(readings._replace(fold=np.full(error.size, -1)), self.node_m)
        bare = blocks._replace(shared=np.zeros_like(blocks.shared))
        at_blocks = partial(
            error_shares, blocks.easting, blocks.northing, covariance=self.covariance,
            surface=self.settings, neighbours=self.neighbours,
        )  # fmt: skip
        followed = at_blocks(bare).noise
        # What the surface doesn't follow of an error that a whole passage shares.
        whole = at_blocks(
            blocks, line_sd_nT=self.line_sd_nT, passage=blocks.passage, shared=blocks.shared
        ).noise
        left = whole - followed
        tree = cKDTree(np.column_stack([blocks.easting, blocks.northing]))
        nearest = tree.query(np.column_stack([readings.easting, readings.northing]))[1]
        noise = readings.sd**2
        open_noise = np.maximum(noise - followed[nearest], 0.05 * noise)
        open_noise += np.maximum(left, 0.0)[nearest]
        total = _spread(place, error**2 - open_noise, surface.shape, _MISFIT * NODES_BETWEEN)
        count = _spread(place, np.ones(error.size), surface.shape, _MISFIT * NODES_BETWEEN)
        return np.asarray(np.maximum(total, 0.0) / np.maximum(count, 1e-9))

    def left_out(self, readings: _Readings, blocks: LineBlocks, misfit: FloatArray) -> _LeftOut:
        """Return errors and predicted variances of the block means of all folds."""
        folds = np.unique(blocks.fold[blocks.fold >= 0])
        if blocks.value.size > PLENTY:
            folds = folds[:2]
        parts = [self._one_fold(readings, blocks, misfit, fold) for fold in folds]
        if not parts:
            none = np.empty(0)
            return _LeftOut(none, none, none, none, none, none, np.empty(0, dtype=np.int64))
        return _LeftOut._make(np.concatenate(part) for part in zip(*parts, strict=True))

    def _one_fold(
        self, readings: _Readings, blocks: LineBlocks, misfit: FloatArray, fold: int
    ) -> _LeftOut:
        """Return what is left out with one fold."""
        held = blocks.fold == fold
        out, rest = (LineBlocks._make(part[used] for part in blocks) for used in (held, ~held))
        kept = readings.fold != fold
        surface = self.surface(_Readings._make(part[kept] for part in readings))
        place = self.place(out.easting, out.northing)
        shares = error_shares(
            out.easting, out.northing, rest, covariance=self.covariance, surface=self.settings,
            line_sd_nT=self.line_sd_nT, passage=out.passage, shared=out.shared,
            neighbours=self.neighbours,
        )  # fmt: skip
        there = map_coordinates(misfit, place, order=1, mode="nearest")
        found = _LeftOut(
            place[0],
            place[1],
            out.value - _sampled(surface, place),
            shares.field,
            shares.noise + out.variance + there,
            map_coordinates(self.roughness(surface), place, order=1, mode="nearest"),
            out.fold,
        )
        told = np.isfinite(found.error)
        return _LeftOut._make(part[told] for part in found)


def _filled(surface: FloatArray) -> FloatArray:
    """Return a surface with its mean where it has no value."""
    return np.where(np.isnan(surface), np.nanmean(surface), surface)


def _sampled(surface: FloatArray, place: list[FloatArray]) -> FloatArray:
    """Return a surface at places in nodes; NaN beside nodes without a value."""
    values = np.asarray(map_coordinates(_filled(surface), place, order=3))
    beside = map_coordinates(np.isnan(surface).astype(np.float64), place, order=1, mode="nearest")
    values[beside > 0] = np.nan
    return values


def _spread(
    place: list[FloatArray], amount: FloatArray, shape: tuple[int, ...], width: float
) -> FloatArray:
    """Return the sum at each node of amounts under a Gaussian bell of height 1, widths in nodes."""
    row, column = (
        np.clip(np.rint(axis).astype(np.int64), 0, count - 1)
        for axis, count in zip(place, shape, strict=True)
    )
    grid = np.bincount(row * shape[1] + column, weights=amount, minlength=shape[0] * shape[1])
    bell = gaussian_filter(grid.reshape(shape), width, mode="constant")
    return np.asarray(bell * (2 * np.pi * width**2))


def _factor(left: _LeftOut, roughness: FloatArray, width: float) -> tuple[FloatArray, float]:
    """Return the factor of the field's share at each node, and the part common to all."""
    usual = float(np.median(left.roughness)) or 1.0
    field = left.field * (left.roughness / usual + _LEAST_PART)
    everywhere = _enough(left.error, field, left.noise)
    near = np.empty(field.size)
    for fold in np.unique(left.fold):
        held = left.fold == fold
        grid = _local(left, field, everywhere, ~held, (roughness.shape, width))
        place = [left.row[held], left.column[held]]
        near[held] = map_coordinates(grid, place, order=1, mode="nearest")
    overall = _enough(left.error, near * field, left.noise)
    every = np.ones(field.size, dtype=bool)
    local = _local(left, field, everywhere, every, (roughness.shape, width))
    return overall * local * (roughness / usual + _LEAST_PART), overall


def _local(
    left: _LeftOut,
    field: FloatArray,
    everywhere: float,
    used: BoolArray,
    grid: tuple[tuple[int, ...], float],
) -> FloatArray:
    """Return the ratio of left-out to predicted squares near each node.

    Each block mean counts by what it tells of the field, little where noise is most of it.
    """
    share, noise = field[used], left.noise[used]
    known = everywhere * share / np.maximum(everywhere * share + noise, 1e-30)
    ratio = (left.error[used] ** 2 - noise) / np.maximum(share, 1e-30)
    place = [left.row[used], left.column[used]]
    total = _spread(place, known**2 * ratio, *grid)
    count = _spread(place, known**2, *grid)
    local = (_WHOLE * everywhere + total) / (_WHOLE + count)
    return np.asarray(np.maximum(local, _LEAST_PART * everywhere))


def _enough(error: FloatArray, field: FloatArray, noise: FloatArray) -> float:
    """Return the least factor of the field's share with which nine tenths are inside."""
    square = (error / _TIMES) ** 2
    needed = (square - noise) / np.maximum(field, 1e-30)
    wanted = float(np.quantile(needed, _INSIDE))
    return float(np.clip(wanted, *_FACTORS))
