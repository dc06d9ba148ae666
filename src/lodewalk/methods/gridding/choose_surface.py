"""Tension and damping of minimum curvature, chosen by lines left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import map_coordinates

from lodewalk.errors import InputError
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.judging_window import (
    NODES_BETWEEN,
    Window,
    can_be_left_out,
    judging_window,
)
from lodewalk.methods.gridding.minimum_curvature import minimum_curvature
from lodewalk.methods.parts import Each, in_turn
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Tensions and dampings that are tried; dampings in squares of the line spacing.
TENSIONS: Final = (0.0, 0.1, 0.25, 0.5, 0.8)
DAMPINGS: Final = (1e-4, 1e-3, 1e-2, 1e-1, 1.0)
#: Settings are tried in order until the misfit is worse by this part than the least one.
SLACK: Final = 0.01
#: Most nodes: larger surveys are judged in a window.
MOST_NODES: Final = 6000
#: Sweeps and solutions end at this part of the largest value.
TOLERANCE: Final = 1e-3


@dataclass(frozen=True)
class Trial:
    """One pair of tension and damping, what was left out, and its misfit [unit of value]."""

    tension: float
    damping_m2: float
    left_out: str
    rms: float


@dataclass(frozen=True)
class SurfaceChoice:
    """What was chosen, what was tried, and how many readings judged it.

    Parameters
    ----------
    tension : float
        Tension, 0 to 1.
    damping_m2 : float
        Damping [m2].
    tension_length_m : float
        Length over which bending and stretching are compared [m].
    rms : float
        Root mean square misfit of the left-out lines [unit of value]; NaN where none could be.
    judged : int
        Number of left-out readings.
    trials : tuple of Trial
        All that was tried, in order.
    """

    tension: float
    damping_m2: float
    tension_length_m: float
    rms: float
    judged: int
    trials: tuple[Trial, ...]


def choose_surface(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    sd: ArrayLike,
    lines: ArrayLike,
    pieces: ArrayLike,
    line_spacing_m: float,
    each: Each = in_turn,
) -> SurfaceChoice:
    """Choose tension and damping so that lines left out are predicted best.

    Parameters
    ----------
    easting_m, northing_m, value : array, shape (n,)
        Readings; none missing.
    sd : array, shape (n,)
        Standard deviation of each, above zero [unit of value].
    lines, pieces : int array, shape (n,)
        Fold of each reading, from `line_folds` and `piece_folds`; -1 for one never left out.
    line_spacing_m : float
        Distance between lines [m].
    each : Each
        Does the surfaces of left-out folds (default: one after the other).

    Returns
    -------
    SurfaceChoice
        Where too few lines can be left out (fewer than three, say): no tension and little damping,
        with an rms of NaN.

    Raises
    ------
    InputError
        When lengths differ, an sd or the spacing isn't above zero, or a value is missing.

    Notes
    -----
    Cross-validation [1]_. Damping is about noise, so it is chosen by pieces of lines left out,
    as long as the line spacing: their middle is as far from a reading as the middle between two
    lines. Tension is about gaps, so it is chosen by whole lines left out, which is also the
    misfit that is returned. A line left out makes the gap twice as wide: damping chosen so would
    smooth away what between lines could be known, and the misfit is an upper limit of that there.
    Grids of four nodes a line spacing serve; a survey of more than 6,000 of them is judged in a
    square round its middle.

    References
    ----------
    .. [1] Wahba, G. (1990), Spline Models for Observational Data, SIAM, chapter 4 (from memory).

    Examples
    --------
    >>> east, north = np.repeat(np.arange(9) * 20.0, 41), np.tile(np.arange(0, 164.0, 4), 9)
    >>> lines = np.repeat([-1, 0, 1, 2, 3, 4, 0, 1, -1], 41)
    >>> found = choose_surface(east, north, np.sin(east / 60) + np.cos(north / 50),
    ...                        sd=np.full(east.size, 0.01), lines=lines,
    ...                        pieces=(np.arange(east.size) // 5) % 5, line_spacing_m=20.0)
    >>> found.tension, found.judged
    (0.0, 287)
    """
    columns = [np.asarray(a, dtype=np.float64) for a in (easting_m, northing_m, value, sd)]
    folds = [np.asarray(fold, dtype=np.int64) for fold in (lines, pieces)]
    check_same_length(easting_m=columns[0], northing_m=columns[1], value=columns[2], sd=columns[3])
    check_same_length(value=columns[2], lines=folds[0], pieces=folds[1])
    check_positive(line_spacing_m, name="line_spacing_m")
    if not np.isfinite(columns).all() or np.any(columns[3] <= 0):
        raise InputError("Readings to choose by must have place, value and an sd above zero.")
    length = line_spacing_m / NODES_BETWEEN
    window = judging_window(columns, folds, line_spacing_m, most_nodes=MOST_NODES)
    judged = int(np.sum(window.lines >= 0))
    trials: tuple[Trial, ...] = ()
    damping = DAMPINGS[0] * line_spacing_m**2
    if can_be_left_out(window.pieces):
        trials = _dampings(window, line_spacing_m, each)
        damping = _best(trials).damping_m2
    if not can_be_left_out(window.lines):
        return SurfaceChoice(0.0, damping, length, float("nan"), judged, trials)
    own = _climbed(window, [(tension, damping) for tension in TENSIONS], "lines", each)
    best = _best(own)
    return SurfaceChoice(best.tension, damping, length, best.rms, judged, (*trials, *own))


def _best(trials: Sequence[Trial]) -> Trial:
    """Return the first trial of the least misfit."""
    return min(trials, key=lambda trial: trial.rms)


def _dampings(window: Window, line_spacing_m: float, each: Each) -> tuple[Trial, ...]:
    """Try dampings of whole decades, then of half ones beside the best."""
    whole = [(0.0, part * line_spacing_m**2) for part in DAMPINGS]
    trials = _climbed(window, whole, "pieces", each)
    beside = [(0.0, _best(trials).damping_m2 * step) for step in (10**-0.5, 10**0.5)]
    return (*trials, *_tried(window, beside, "pieces", each))


def _climbed(
    window: Window, pairs: Sequence[tuple[float, float]], left_out: str, each: Each
) -> tuple[Trial, ...]:
    """Try pairs of tension and damping in order until the misfit is plainly past its least."""
    trials: tuple[Trial, ...] = ()
    for pair in pairs:
        trials += _tried(window, [pair], left_out, each)
        if trials[-1].rms > (1 + SLACK) * _best(trials).rms:
            break
    return trials


def _tried(
    window: Window, pairs: Sequence[tuple[float, float]], left_out: str, each: Each
) -> tuple[Trial, ...]:
    """Return the misfit of what is left out with each pair of tension and damping."""
    fold = window.lines if left_out == "lines" else window.pieces
    folds = np.unique(fold[fold >= 0]).tolist()
    parts = [(number, *pair) for pair in pairs for number in folds]
    misfits = each(partial(_misfit, window, fold), parts)
    trials = []
    for place, pair in enumerate(pairs):
        own = np.concatenate(misfits[place * len(folds) : (place + 1) * len(folds)])
        trials.append(Trial(*pair, left_out, float(np.sqrt(np.mean(own**2)))))
    return tuple(trials)


def _misfit(window: Window, fold: NDArray[np.int64], part: tuple[int, float, float]) -> FloatArray:
    """Return the misfit of the readings of one fold, left out, with a tension and a damping."""
    number, tension, damping_m2 = part
    held = fold == number
    blocks = block_means(
        window.column[~held],
        window.row[~held],
        window.value[~held],
        weight=window.weight[~held],
    )
    surface = minimum_curvature(
        blocks,
        np.ones(window.shape, dtype=bool),
        tension=tension,
        damping=damping_m2 / window.spacing_m**2,
        tension_length=1.0,
        tolerance=TOLERANCE,
    ).reshape(window.shape)
    there = map_coordinates(surface, [window.row[held], window.column[held]], order=3)
    misfit: FloatArray = there - window.value[held]
    return misfit
