"""How much to carry along the strike, chosen by lines left out; none unless they are the better."""

from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import map_coordinates

from lodewalk.errors import InputError
from lodewalk.methods.gridding.along_strike import AlongStrike
from lodewalk.methods.gridding.block_means import BlockMeans
from lodewalk.methods.gridding.choose_surface import (
    DAMPINGS,
    SLACK,
    SurfaceChoice,
    Trial,
    choose_surface,
)
from lodewalk.methods.gridding.interface import (
    ALONG_STRIKE,
    Options,
    Prepared,
    prepare_readings,
)
from lodewalk.methods.gridding.judging_window import (
    NODES_BETWEEN,
    can_be_left_out,
    judging_window,
)
from lodewalk.methods.parts import Each, in_turn
from lodewalk.validation import FloatArray, check_positive, check_same_length

#: Strengths that are tried beside none: the first judges the longest waves, and the last is tried
#: where the second is no better.
STRENGTHS: Final = (0.1, 1.0, 0.01)
#: Longest waves that are tried [line spacings], in order; None carries all. The first risks least.
LONGEST: Final = (4.0, 8.0, None)
#: Most nodes: larger surveys are judged in a window.
MOST_NODES: Final = 10_000
#: Standard errors by which lines must be predicted better (the rule of one standard error).
SURE: Final = 1.0
#: A misfit that is less by a smaller part than this is worth nothing.
USEFUL: Final = 0.05
#: Of more readings than this two folds of pieces judge the damping.
PLENTY: Final = 8_000


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


class _Fold(NamedTuple):
    """A fold that is left out: which readings, the lines of the others, and these made ready."""

    held: NDArray[np.int64]
    line: NDArray[np.int64]
    ready: Prepared


@dataclass
class _Judge:
    """Judges trials by what is left out, and keeps what several of them share.

    What is carried depends on the fold that is left out and on the longest waves alone.
    """

    survey: _Survey
    each: Each
    folds: dict[str, list[_Fold]] = field(default_factory=dict)
    carried: dict[tuple[str, float | None], list[BlockMeans]] = field(default_factory=dict)
    misfits: dict[tuple[float, float | None, float, str], FloatArray] = field(default_factory=dict)

    def of(self, trial: StrikeTrial) -> StrikeTrial:
        """Return a trial with the root mean square of its misfits."""
        return replace(trial, rms=float(np.sqrt(np.nanmean(self.misfit(trial) ** 2))))

    def misfit(self, trial: StrikeTrial) -> FloatArray:
        """Return the misfit of each reading that is left out; NaN for those that never are."""
        key = trial.strength, trial.longest_m, trial.damping_m2, trial.left_out
        if key not in self.misfits:
            self.misfits[key] = self._misfit(trial)
        return self.misfits[key]

    def _misfit(self, trial: StrikeTrial) -> FloatArray:
        """Return the misfit of a trial that is new."""
        survey, folds = self.survey, self._folds(trial.left_out)
        carried: list[BlockMeans | None] = [None] * len(folds)
        if trial.strength > 0:
            whole = self._carried(trial.left_out, trial.longest_m)
            carried = [part._replace(weight=trial.strength * part.weight) for part in whole]
            if not any(part.value.size for part in whole):
                return self.misfit(replace(trial, strength=0.0, longest_m=None))
        options = Options(
            survey.surface.tension,
            trial.damping_m2 / survey.spacing_m**2,
            survey.surface.tension_length_m / survey.spacing_m,
        )
        parts = [
            (fold.ready, options._replace(carried=own), self._places(fold.held))
            for fold, own in zip(folds, carried, strict=True)
        ]
        misfit = np.full(survey.value.size, np.nan)
        for fold, there in zip(folds, self.each(_predicted, parts), strict=True):
            misfit[fold.held] = there - survey.value[fold.held]
        return misfit

    def _places(self, held: NDArray[np.int64]) -> FloatArray:
        """Return rows and columns of readings."""
        survey = self.survey
        return np.stack([survey.north[held], survey.east[held]]) / survey.spacing_m

    def _folds(self, left_out: str) -> list[_Fold]:
        """Return the folds of lines or pieces."""
        if left_out not in self.folds:
            fold = self.survey.pieces if left_out == "pieces" else self.survey.lines
            numbers = np.unique(fold[fold >= 0])
            if left_out == "pieces" and fold.size > PLENTY:
                numbers = numbers[:2]
            self.folds[left_out] = [_fold(self.survey, fold == number) for number in numbers]
        return self.folds[left_out]

    def _carried(self, left_out: str, longest_m: float | None) -> list[BlockMeans]:
        """Return what is carried without each fold, of strength 1."""
        key = left_out, longest_m
        if key not in self.carried:
            spacing = self.survey.line_spacing_m
            parts = [
                (fold.ready, AlongStrike(fold.line, spacing, 1.0, longest_m))
                for fold in self._folds(left_out)
            ]
            self.carried[key] = self.each(_carried, parts)
        return self.carried[key]


def _fold(survey: _Survey, held: NDArray[np.bool_]) -> _Fold:
    """Return a fold, left out."""
    rest = ~held
    ready = prepare_readings(
        survey.east[rest],
        survey.north[rest],
        survey.value[rest],
        sd=survey.sd[rest],
        west_m=0.0,
        south_m=0.0,
        spacing_m=survey.spacing_m,
        shape=survey.shape,
        reach_m=sum(survey.shape) * survey.spacing_m,
    )
    return _Fold(np.flatnonzero(held), survey.line[rest], ready)


def _carried(part: tuple[Prepared, AlongStrike]) -> BlockMeans:
    """Return what is carried between some readings."""
    ready, told = part
    return ready.carried(told)


def _predicted(part: tuple[Prepared, Options, FloatArray]) -> FloatArray:
    """Return the surface of some readings at rows and columns."""
    ready, options, places = part
    there: FloatArray = map_coordinates(ready.surface(ALONG_STRIKE, options), places, order=3)
    return there


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
    tension: float | None = None,
    damping_m2: float | None = None,
    each: Each = in_turn,
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
    tension, damping_m2 : float, optional
        Of minimum curvature, where they are given; the other is chosen (default: both are).
    each : Each
        Does the surfaces of left-out folds (default: one after the other).

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
    isotropic surface can't follow may have passed for noise. Short waves, which risk least, come
    first: where they aren't better by a twentieth nothing else is tried, and along a setting trials
    end where one is worse than those before it. What is found is kept if the squared
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
    check_positive(line_spacing_m, name="line_spacing_m")
    check_same_length(value=value, lines=lines, pieces=pieces, line=line)
    surface = SurfaceChoice(0.0, 0.0, line_spacing_m / NODES_BETWEEN, float("nan"), 0, ())
    if tension is None or damping_m2 is None:
        surface = choose_surface(
            easting_m,
            northing_m,
            value,
            sd=sd,
            lines=lines,
            pieces=pieces,
            line_spacing_m=line_spacing_m,
            each=each,
        )
    surface = replace(
        surface,
        tension=surface.tension if tension is None else tension,
        damping_m2=surface.damping_m2 if damping_m2 is None else damping_m2,
    )
    numbers = np.asarray(line, dtype=np.int64)
    survey = _survey(
        [np.asarray(part, dtype=np.float64) for part in (easting_m, northing_m, value, sd)],
        [np.asarray(fold, dtype=np.int64) for fold in (numbers, lines, pieces)],
        line_spacing_m,
        surface,
    )
    if not can_be_left_out(survey.lines):
        return _chosen(survey, (), float("nan"), None)
    judge = _Judge(survey, each)
    try:
        trials = _trials(judge, damped=damping_m2 is None)
    except InputError:
        # Without them nothing spans an area.
        return _chosen(survey, (), float("nan"), None)
    plain = trials[0]
    best = min((trial for trial in trials if trial.left_out == "lines"), key=lambda t: t.rms)
    sure = _useful(best, plain) and _surely_less(judge.misfit(best), judge.misfit(plain), survey)
    return _chosen(survey, tuple(trials), plain.rms, best if sure else None)


def _trials(judge: _Judge, *, damped: bool) -> list[StrikeTrial]:
    """Return all that is tried, nothing carried first; the damping last, where that is wanted."""
    survey = judge.survey
    plain = StrikeTrial(0.0, None, survey.surface.damping_m2, "lines", float("nan"))
    plain = judge.of(plain)
    trials = [plain, *_tried(judge, plain)]
    best = min(trials, key=lambda trial: trial.rms)
    if damped and _useful(best, plain) and can_be_left_out(survey.pieces):
        more = _damped(judge, best)
        own = min(more, key=lambda trial: trial.rms)
        trials += [*more, judge.of(replace(own, left_out="lines"))]
    return trials


def _useful(trial: StrikeTrial, plain: StrikeTrial) -> bool:
    """Tell whether a trial is better than nothing carried by what is worth it."""
    return trial.rms < (1 - USEFUL) * plain.rms


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


def _tried(judge: _Judge, plain: StrikeTrial) -> list[StrikeTrial]:
    """Return trials of the longest waves, and of other strengths with the best of them.

    Each goes on as long as it is better than the one before; where the first of all isn't useful
    nothing else is tried.
    """
    found: list[StrikeTrial] = []
    best = plain
    for part in LONGEST:
        longest_m = None if part is None else part * judge.survey.line_spacing_m
        found.append(judge.of(replace(plain, strength=STRENGTHS[0], longest_m=longest_m)))
        if not _useful(found[0], plain):
            return found
        if found[-1].rms >= best.rms:
            break
        best = found[-1]
    for strength in STRENGTHS[1:]:
        found.append(judge.of(replace(best, strength=strength)))
        if found[-1].rms < best.rms:
            break
    return found


def _damped(judge: _Judge, best: StrikeTrial) -> list[StrikeTrial]:
    """Return trials of the damping, pieces left out: upwards, or else downwards, to the least."""
    square = judge.survey.line_spacing_m**2
    parts = sorted({best.damping_m2, *(part * square for part in DAMPINGS)})
    own = parts.index(best.damping_m2)
    first = judge.of(replace(best, left_out="pieces"))
    trials = [first]
    for way in (parts[own + 1 :], parts[:own][::-1]):
        least = first.rms
        for damping_m2 in way:
            trials.append(judge.of(replace(first, damping_m2=damping_m2)))
            if trials[-1].rms > (1 + SLACK) * least:
                break
            least = min(least, trials[-1].rms)
        if least < first.rms:
            break
    return trials


def _surely_less(misfit: FloatArray, before: FloatArray, survey: _Survey) -> bool:
    """Tell whether lines are better predicted than before, beyond the error of their sum."""
    held = survey.lines >= 0
    number = np.unique(survey.line[held], return_inverse=True)[1].ravel()
    gain = np.bincount(number, before[held] ** 2 - misfit[held] ** 2)
    if gain.size < 2:
        return False
    return bool(gain.sum() > SURE * np.std(gain, ddof=1) * np.sqrt(gain.size))
