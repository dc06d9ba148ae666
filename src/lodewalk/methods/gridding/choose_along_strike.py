"""How much to carry along the strike, chosen by lines left out; none unless they are the better."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import map_coordinates

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import BoolArray
from lodewalk.methods.gridding.along_strike import AlongStrike
from lodewalk.methods.gridding.choose_surface import (
    DAMPINGS,
    SurfaceChoice,
    Trial,
    choose_surface,
)
from lodewalk.methods.gridding.interface import ALONG_STRIKE, grid_readings
from lodewalk.methods.gridding.judging_window import can_be_left_out, judging_window
from lodewalk.validation import FloatArray, check_same_length

#: Strengths that are tried beside none; the first judges the longest waves.
STRENGTHS: Final = (0.1, 0.01, 1.0)
#: Longest waves that are tried [line spacings]; None carries all.
LONGEST: Final = (None, 8.0, 4.0)
#: Most nodes: larger surveys are judged in a window.
MOST_NODES: Final = 10_000
#: Standard errors by which lines must be predicted better (the rule of one standard error).
SURE: Final = 1.0
#: A misfit that is less by a smaller part than this is worth nothing.
USEFUL: Final = 0.05


@dataclass(frozen=True)
class StrikeTrial:
    """What was tried along strike, what was left out, and its misfit [unit of value]."""

    strength: float
    longest_m: float | None
    damping_m2: float
    left_out: str
    rms: float


@dataclass(frozen=True)
class AlongStrikeChoice:
    """What was chosen, what was tried, and how many readings judged it.

    Parameters
    ----------
    strength : float
        Weight of what is carried along the strike; 0 where left-out lines are not surely better
        predicted with it.
    longest_m : float or None
        Longest waves that are carried [m]; None for all.
    tension, damping_m2, tension_length_m : float
        Of minimum curvature, as in `SurfaceChoice`.
    rms, plain_rms : float
        Root mean square misfit of the left-out lines with this choice, and with nothing carried
        [unit of value]; NaN where none could be.
    judged : int
        Number of left-out readings.
    trials : tuple of StrikeTrial
        All that was tried along strike, in order.
    plain_trials : tuple of Trial
        What was tried for tension and damping before.
    """

    strength: float
    longest_m: float | None
    tension: float
    damping_m2: float
    tension_length_m: float
    rms: float
    plain_rms: float
    judged: int
    trials: tuple[StrikeTrial, ...]
    plain_trials: tuple[Trial, ...]


@dataclass(frozen=True)
class _Survey:
    """Readings in the window, by metres from its corner, and how a surface is made of them."""

    east: FloatArray
    north: FloatArray
    value: FloatArray
    sd: FloatArray
    line: NDArray[np.int64]
    lines: NDArray[np.int64]
    pieces: NDArray[np.int64]
    shape: tuple[int, int]
    spacing_m: float
    line_spacing_m: float
    surface: SurfaceChoice

    def grid(self, used: BoolArray, trial: StrikeTrial) -> FloatArray:
        """Return the surface of some readings."""
        return grid_readings(
            self.east[used],
            self.north[used],
            self.value[used],
            sd=self.sd[used],
            west_m=0.0,
            south_m=0.0,
            spacing_m=self.spacing_m,
            shape=self.shape,
            reach_m=sum(self.shape) * self.spacing_m,
            method=ALONG_STRIKE,
            tension=self.surface.tension,
            damping_m2=trial.damping_m2,
            tension_length_m=self.surface.tension_length_m,
            along_strike=AlongStrike(
                self.line[used], self.line_spacing_m, trial.strength, trial.longest_m
            ),
        )


def choose_along_strike(
    easting_m: ArrayLike,
    northing_m: ArrayLike,
    value: ArrayLike,
    *,
    sd: ArrayLike,
    line: ArrayLike,
    lines: ArrayLike,
    pieces: ArrayLike,
    line_spacing_m: float,
) -> AlongStrikeChoice:
    """Choose what is carried along the strike so that lines left out are predicted best.

    Parameters
    ----------
    easting_m, northing_m, value : array, shape (n,)
        Readings; none missing.
    sd : array, shape (n,)
        Standard deviation of each, above zero [unit of value].
    line : int array, shape (n,)
        Line (passage) of each reading; below zero for one off the lines.
    lines, pieces : int array, shape (n,)
        Fold of each reading, from `line_folds` and `piece_folds`; -1 for one never left out.
    line_spacing_m : float
        Distance between lines [m].

    Returns
    -------
    AlongStrikeChoice
        With strength 0 and what `choose_surface` says where too few lines can be left out, or where
        those left out are not better predicted by a standard error and a twentieth.

    Raises
    ------
    InputError
        As `choose_surface`.

    Notes
    -----
    Tension and damping are chosen with nothing carried, by `choose_surface`. Then whole lines are
    left out, the strike found without them, to choose the longest waves that are carried, and the
    strength; the damping is looked at once more with pieces of lines left out, since what an
    isotropic surface can't follow may have passed for noise. All that is kept if the squared
    misfits of the lines, line by line, are less than with nothing carried by the standard error of
    their sum [1]_, and their root mean square by a twentieth; else nothing is carried.

    A line left out makes the gap twice as wide and the shift from line to line twice as long, so
    the misfit is an upper limit of that between lines.

    References
    ----------
    .. [1] Breiman, L., Friedman, J. H., Olshen, R. A., and Stone, C. J. (1984), Classification and
       Regression Trees, Wadsworth, section 3.4.3 (the rule of one standard error; from memory).

    Examples
    --------
    A ridge at 27 degrees to seven lines, less wide than their spacing:

    >>> east, north = np.repeat(np.arange(7) * 20.0, 81), np.tile(np.arange(0, 243.0, 3), 7)
    >>> ridge = 50 / (1 + ((north - 120 - 2 * (east - 60)) / 5**0.5 / 8) ** 2)
    >>> found = choose_along_strike(east, north, ridge, sd=np.full(east.size, 0.1),
    ...     line=np.repeat(np.arange(7), 81), lines=np.repeat([-1, 0, 1, 2, 3, 0, -1], 81),
    ...     pieces=(np.arange(east.size) // 7) % 5, line_spacing_m=20.0)
    >>> found.strength > 0, found.rms < 0.5 * found.plain_rms
    (True, True)
    """
    surface = choose_surface(
        easting_m,
        northing_m,
        value,
        sd=sd,
        lines=lines,
        pieces=pieces,
        line_spacing_m=line_spacing_m,
    )
    numbers = np.asarray(line, dtype=np.int64)
    check_same_length(value=value, line=numbers)
    survey = _survey(
        [np.asarray(part, dtype=np.float64) for part in (easting_m, northing_m, value, sd)],
        [np.asarray(fold, dtype=np.int64) for fold in (numbers, lines, pieces)],
        line_spacing_m,
        surface,
    )
    if not can_be_left_out(survey.lines):
        return _chosen(survey, (), float("nan"), None)
    plain = StrikeTrial(0.0, None, surface.damping_m2, "lines", float("nan"))
    try:
        before = _left_out(survey, plain)
    except InputError:
        # Without them nothing spans an area.
        return _chosen(survey, (), float("nan"), None)
    plain = _with_rms(plain, before)
    trials = [plain, *_tried(survey, plain)]
    best = min((trial for trial in trials if trial.left_out == "lines"), key=lambda t: t.rms)
    if best.strength > 0 and can_be_left_out(survey.pieces):
        trials += _damped(survey, best)
        own = min((trial for trial in trials if trial.left_out == "pieces"), key=lambda t: t.rms)
        trials.append(_with_rms(replace(own, left_out="lines"), _left_out(survey, own, "lines")))
        best = min(best, trials[-1], key=lambda trial: trial.rms)
    better = best.rms < (1 - USEFUL) * plain.rms
    sure = better and _surely_less(_left_out(survey, best), before, survey)
    return _chosen(survey, tuple(trials), plain.rms, best if sure else None)


def _chosen(
    survey: _Survey, trials: tuple[StrikeTrial, ...], plain: float, best: StrikeTrial | None
) -> AlongStrikeChoice:
    """Return the choice; None for nothing carried."""
    surface = survey.surface
    return AlongStrikeChoice(
        0.0 if best is None else best.strength,
        None if best is None else best.longest_m,
        surface.tension,
        surface.damping_m2 if best is None else best.damping_m2,
        surface.tension_length_m,
        plain if best is None else best.rms,
        plain,
        int(np.sum(survey.lines >= 0)),
        trials,
        surface.trials,
    )


def _survey(
    columns: list[FloatArray],
    numbers: list[NDArray[np.int64]],
    line_spacing_m: float,
    surface: SurfaceChoice,
) -> _Survey:
    """Return the readings of the window."""
    window = judging_window(columns, numbers[1:], line_spacing_m, most_nodes=MOST_NODES)
    return _Survey(
        window.column * window.spacing_m,
        window.row * window.spacing_m,
        window.value,
        columns[3][window.inside],
        numbers[0][window.inside],
        window.lines,
        window.pieces,
        window.shape,
        window.spacing_m,
        line_spacing_m,
        surface,
    )


def _tried(survey: _Survey, plain: StrikeTrial) -> list[StrikeTrial]:
    """Return trials of the longest waves, and of other strengths with the best of them."""

    def of(strength: float, longest_m: float | None) -> StrikeTrial:
        trial = replace(plain, strength=strength, longest_m=longest_m)
        return _with_rms(trial, _left_out(survey, trial))

    lengths = [None if part is None else part * survey.line_spacing_m for part in LONGEST]
    found = [of(STRENGTHS[0], longest_m) for longest_m in lengths]
    best = min(found, key=lambda trial: trial.rms)
    return found + [of(strength, best.longest_m) for strength in STRENGTHS[1:]]


def _damped(survey: _Survey, best: StrikeTrial) -> list[StrikeTrial]:
    """Return trials of the damping, pieces left out."""
    parts = {best.damping_m2, *(part * survey.line_spacing_m**2 for part in DAMPINGS)}
    trials = [replace(best, damping_m2=part, left_out="pieces") for part in sorted(parts)]
    return [_with_rms(trial, _left_out(survey, trial)) for trial in trials]


def _with_rms(trial: StrikeTrial, misfit: FloatArray) -> StrikeTrial:
    """Return the trial with the root mean square of its misfits."""
    return replace(trial, rms=float(np.sqrt(np.nanmean(misfit**2))))


def _left_out(survey: _Survey, trial: StrikeTrial, left_out: str = "") -> FloatArray:
    """Return the misfit of each reading that is left out; NaN for those that never are."""
    fold = survey.pieces if (left_out or trial.left_out) == "pieces" else survey.lines
    misfit = np.full(fold.size, np.nan)
    for number in np.unique(fold[fold >= 0]):
        held = fold == number
        places = [survey.north[held] / survey.spacing_m, survey.east[held] / survey.spacing_m]
        there = map_coordinates(survey.grid(~held, trial), places, order=3)
        misfit[held] = there - survey.value[held]
    return misfit


def _surely_less(misfit: FloatArray, before: FloatArray, survey: _Survey) -> bool:
    """Tell whether lines are better predicted than before, beyond the error of their sum."""
    held = survey.lines >= 0
    number = np.unique(survey.line[held], return_inverse=True)[1].ravel()
    gain = np.bincount(number, before[held] ** 2 - misfit[held] ** 2)
    if gain.size < 2:
        return False
    return bool(gain.sum() > SURE * np.std(gain, ddof=1) * np.sqrt(gain.size))
