"""Depth, damping and rounds of equivalent sources, chosen by lines left out."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import product
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding.block_means import block_means
from lodewalk.methods.gridding.equivalent_sources import fits_of_rounds, usable
from lodewalk.methods.gridding.line_folds import KEPT, IntArray, line_folds
from lodewalk.validation import FloatArray, check_same_length

#: Depths of the upper layer that are tried, in line spacings, and decades of damping.
DEPTHS: Final = (0.3, 0.42, 0.6, 0.85, 1.2, 1.7, 2.4)
LOWEST, FIRST, HIGHEST = -8, -3, 2
#: A step must lower the error to less than this share.
WORTH_IT: Final = 0.99
#: Numbers of layers that are tried, and the most rounds of each.
MOST_ROUNDS: Final = {3: 3, 1: 0}
#: Squares in a line spacing, and mesh spacings in the depth of the upper layer.
SQUARES_IN_SPACING: Final = 5
ROUGH_SPACINGS: Final = 2.0
#: Where a round ends that is judged, in shares of its first gradient.
JUDGED: Final = 1e-3
#: Squares of ties that suffice to choose, and folds of lines that are left out where they don't.
ENOUGH_TIES: Final = 200
FOLDS_USED: Final = 2
#: Readings of a survey that is used whole; of a larger one, in each of four windows.
MOST_READINGS: Final = 40_000
IN_WINDOW: Final = 10_000


class Trial(NamedTuple):
    """Depth [m], damping, rounds and layers tried, mean size and rms of the error of prediction.

    The mean size, `error`, decides; the rms hangs on the few strongest bodies.
    """

    depth_m: float
    damping: float
    rounds: int
    layers: int
    error: float
    rms: float


class LayerChoice(NamedTuple):
    """The depth [m], damping, rounds and layers that predict best, and their rms errors.

    `rms_lines` is the error on left-out lines, `rms_ties` that on tie lines, all left out (NaN
    where there are none); `by_ties` says which of them chose, `trials` holds that of all tried.
    """

    depth_m: float
    damping: float
    rounds: int
    layers: int
    rms_lines: float
    rms_ties: float
    by_ties: bool
    trials: tuple[Trial, ...]


class _Fold(NamedTuple):
    """Position, value and relative weight of the squares of a fold, and which of them judge."""

    east: FloatArray
    north: FloatArray
    value: FloatArray
    weight: FloatArray
    judges: BoolArray


#: A part of the survey by fold.
_Window = Mapping[int, _Fold]


def choose_layer(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    line: ArrayLike,
    line_spacing_m: float,
    sd: ArrayLike | None = None,
    depths: Sequence[float] = DEPTHS,
    folds: int = 4,
) -> LayerChoice:
    """Choose depth, damping and rounds of layers by what they predict of lines left out.

    Parameters
    ----------
    easting_m, northing_m, value, sd : array, shape (n,)
        As for `fit_layer`.
    line : array, shape (n,)
        Name or number of each reading's line.
    line_spacing_m : float
        Distance between neighbouring lines [m].
    depths : sequence of float
        Depths of the upper layer to try, in line spacings, in rising order.
    folds : int
        Every so-manieth line is left out together; all tie lines make one fold more.

    Returns
    -------
    LayerChoice
        What predicts best, and all that was tried.

    Raises
    ------
    InputError
        As `fit_layer` and `line_folds`.

    Notes
    -----
    Where there are tie lines enough (`ENOUGH_TIES` squares, some thirty line spacings of them),
    the error on them decides, all tie lines left out: between lines they see the gaps that the
    grid has. A left-out line sees gaps twice as wide, so what predicts it best is too smooth; it
    decides where there are no ties, the first two folds being left out in turn.

    A survey of more than `MOST_READINGS` is judged in four windows round its quarters, each the
    square that holds `IN_WINDOW` readings; what lies within a line spacing of its edge judges
    nothing. The mean size of the error decides, since by their squares the few strongest bodies
    near the ties would (least absolute deviations, common practice).

    Readings of a fold are averaged over squares of a fifth of the line spacing. The fit of each
    pair of depth and damping has up to `MOST_ROUNDS` rounds more, each judged. At each depth the
    damping goes down or up by factors of ten from the last depth's best while that lowers the
    error by a hundredth, and the depth down and up from the middle one likewise; first with three
    layers, then with one, which has no further rounds.

    Examples
    --------
    >>> east, north = (axis.ravel() for axis in np.meshgrid(np.arange(6) * 20.0,
    ...                                                     np.arange(0, 100, 5.0)))
    >>> value = 9 * np.cos(east / 40) * np.sin(north / 30)
    >>> choice = choose_layer(east, north, value, line=east, line_spacing_m=20.0, depths=(0.6, 1.2))
    >>> choice.by_ties, choice.depth_m
    (False, 24.0)
    """
    check_same_length(value=value, line=line)
    used, columns = usable(easting_m, northing_m, value, sd)
    fold = line_folds(
        columns[0],
        columns[1],
        np.atleast_1d(np.asarray(line))[used],
        line_spacing_m=line_spacing_m,
        folds=folds,
    )
    windows = _windows(columns, fold, line_spacing_m)
    lines, ties = _judges(windows, folds)
    by_ties = _judging(windows, ties) >= ENOUGH_TIES
    trials: dict[tuple[int, int, int], list[Trial]] = {}

    def error(layers: int, depth: int, decade: int) -> float:
        if (layers, depth, decade) not in trials:
            setting = depths[depth] * line_spacing_m, 10.0**decade
            judges, most = ties if by_ties else lines, MOST_ROUNDS[layers]
            found = _prediction_errors(windows, judges, *setting, most, layers)
            trials[layers, depth, decade] = [
                Trial(*setting, turn, layers, *sizes) for turn, sizes in enumerate(found)
            ]
        return min(trial.error for trial in trials[layers, depth, decade])

    place = len(depths) // 2, FIRST
    for layers in MOST_ROUNDS:
        place = _walk_down(partial(error, layers), len(depths), place)
    every = tuple(sorted(trial for found in trials.values() for trial in found))
    best = min(every, key=lambda trial: (trial.error, trial))
    other = _prediction_errors(windows, lines if by_ties else ties, *best[:4])[-1][1]
    both = (other, best.rms) if by_ties else (best.rms, other)
    return LayerChoice(*best[:4], *both, by_ties, every)


def _judges(windows: Sequence[_Window], folds: int) -> tuple[list[int], list[int]]:
    """Return the folds of lines that are left out, and that of ties, where there are any."""
    held = sorted({fold for window in windows for fold in window} - {KEPT})
    return [fold for fold in held if fold != folds][:FOLDS_USED], [f for f in held if f == folds]


def _judging(windows: Sequence[_Window], folds: Sequence[int]) -> int:
    """Return the number of squares of some folds that judge."""
    return sum(
        int(np.count_nonzero(window[fold].judges))
        for window in windows
        for fold in folds
        if fold in window
    )


def _walk_down(
    error: Callable[[int, int], float], depths: int, place: tuple[int, int]
) -> tuple[int, int]:
    """Go from pair to pair of depth and decade of damping while a step lowers the error enough."""

    def best_decade(depth: int, decade: int) -> int:
        for step in (-1, 1):
            while LOWEST <= decade + step <= HIGHEST and error(
                depth, decade + step
            ) < WORTH_IT * error(depth, decade):
                decade += step
        return decade

    place = place[0], best_decade(*place)
    for step in (-1, 1):
        while 0 <= place[0] + step < depths:
            depth = place[0] + step
            there = depth, best_decade(depth, place[1])
            if error(*there) >= WORTH_IT * error(*place):
                break
            place = there
    return place


def _windows(columns: list[FloatArray], fold: IntArray, spacing: float) -> list[_Window]:
    """Return the survey in one window, or four windows round its quarters."""
    east, north = columns[:2]
    if east.size <= MOST_READINGS:
        return [_window(columns, fold, spacing, (0.0, 0.0, np.inf))]
    found = []
    for part_e, part_n in ((0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)):
        # Quantiles of the readings, since the survey need be no rectangle.
        middle = float(np.quantile(east, part_e)), float(np.quantile(north, part_n))
        away = np.maximum(np.abs(east - middle[0]), np.abs(north - middle[1]))
        reach = float(np.partition(away, IN_WINDOW)[IN_WINDOW])
        inside = away <= reach
        part = [column[inside] for column in columns]
        found.append(_window(part, fold[inside], spacing, (*middle, reach - spacing)))
    return found


def _window(
    columns: list[FloatArray],
    fold: IntArray,
    spacing: float,
    judging: tuple[float, float, float],
) -> _Window:
    """Average the readings of each fold over squares; those of a middle and reach judge."""
    side = spacing / SQUARES_IN_SPACING
    folds = {}
    for number in np.unique(fold):
        east, north, value, weight = (column[fold == number] for column in columns)
        means = block_means(east / side, north / side, value, weight=weight)
        place = means.column * side, means.row * side
        away = np.maximum(np.abs(place[0] - judging[0]), np.abs(place[1] - judging[1]))
        folds[int(number)] = _Fold(*place, means.value, means.weight, away <= judging[2])
    return folds


def _prediction_errors(
    windows: Sequence[_Window],
    left_out: Sequence[int],
    depth: float,
    damping: float,
    rounds: int,
    layers: int,
) -> list[tuple[float, float]]:
    """Return the error of each round in predicting folds from all others; NaN without one."""
    misses: list[list[FloatArray]] = [[np.empty(0)] for _ in range(rounds + 1)]
    for window, number in product(windows, left_out):
        if number not in window or not window[number].judges.any():
            continue
        others = [part for other, part in window.items() if other != number]
        columns = [np.concatenate(column) for column in list(zip(*others, strict=True))[:4]]
        columns = [np.concatenate(column) for column in list(zip(*others, strict=True))[:4]]
        out = window[number]
        fits = fits_of_rounds(
            columns,
            depth_m=depth,
            damping=damping,
            layers=layers,
            spacing_m=depth / ROUGH_SPACINGS,
            tolerances=[JUDGED] * (rounds + 1),
        )
        for turn, layer in enumerate(fits):
            rest = layer.at(out.east[out.judges], out.north[out.judges]) - out.value[out.judges]
            misses[turn].append(np.abs(rest))
    errors = [np.concatenate(part) for part in misses]
    if not errors[0].size:
        return [(float("nan"), float("nan"))] * len(errors)
    return [(float(np.mean(part)), float(np.sqrt(np.mean(part**2)))) for part in errors]
