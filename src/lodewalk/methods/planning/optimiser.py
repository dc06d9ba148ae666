"""The cheapest lines that find a target as surely as the rule of thumb does."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.planning.detection import Detection, layout_detection
from lodewalk.methods.planning.line_layout import TIE_RATIO, LineLayout, line_length
from lodewalk.methods.planning.sought import PreparedTarget, Target, prepare_target
from lodewalk.methods.planning.survey_noise import SurveyNoise
from lodewalk.validation import check_positive, check_within

#: Line spacings that are tried: powers of this, from the rule's on.
LADDER: Final = 1.08
RUNGS: Final = 26

#: Azimuths that are tried, from the strike's normal [deg].
TURNS: Final = (0.0, -20.0, 20.0, -40.0, 40.0, 90.0)

#: Equal detection is this much lower at most, the standard error of the check besides.
EQUAL: Final = 0.005

#: Places and draws of the search, and of the check with another seed: more of them where few
#: don't decide it.
SEARCH, CHECKS = (16, 64), ((32, 64), (128, 128))
CHECK_SEED: Final = 1000

#: Lines turned from the normal must save this much more than lines normal to the strike.
TURNED: Final = 0.25

#: Rungs by which a plan that doesn't stand the check is taken closer, one after the other.
RETREATS: Final = (0, 1, 3, 6, 10, 14)


@dataclass(frozen=True)
class TriedPlan:
    """A plan that was tried: its lines, their length [m], and its probability."""

    layout: LineLayout
    length_m: float
    probability: float


@dataclass(frozen=True)
class PlanChoice:
    """The plan that was chosen, beside the rule of thumb.

    Parameters
    ----------
    layout : LineLayout
        The lines to walk: those of the rule where nothing better was found.
    length_m : float
        Their length, tie lines with them [m].
    detection : Detection
        What they promise, checked with other draws than those of the search.
    rule, rule_length_m, rule_detection
        The same of the rule of thumb.
    better : bool
        Whether the plan has enough fewer kilometres at equal detection.
    tried : tuple of TriedPlan
        What was tried, the rule first.
    """

    layout: LineLayout
    length_m: float
    detection: Detection
    rule: LineLayout
    rule_length_m: float
    rule_detection: Detection
    better: bool
    tried: tuple[TriedPlan, ...] = field(repr=False)

    @property
    def saving(self) -> float:
        """Share of the rule's length that isn't walked."""
        return 1.0 - self.length_m / self.rule_length_m


def rule_of_thumb(target: Target, layout: LineLayout) -> LineLayout:
    """Return the lines of the rule of thumb for a target.

    Parameters
    ----------
    target : Target
        The target.
    layout : LineLayout
        Reading interval, sensor height and pace.

    Returns
    -------
    LineLayout
        Lines normal to the strike, as far apart as the target's expected depth below the sensor
        (common practice), one tie line for ten lines.

    Examples
    --------
    >>> target = Target(lambda *place, **known: place[0], 10.0, strike_deg=120.0)
    >>> rule = rule_of_thumb(target, LineLayout(0.0, 1.0))
    >>> rule.azimuth_deg, rule.spacing_m, rule.tie_spacing_m
    (30.0, 12.0, 120.0)
    """
    below = target.depth_m + layout.sensor_height_m
    return replace(
        layout,
        azimuth_deg=(target.strike_deg + 90.0) % 180.0,
        spacing_m=below,
        tie_spacing_m=TIE_RATIO * below,
        shift=0.0,
    )


def choose_plan(
    area_m: ArrayLike,
    target: Target,
    layout: LineLayout,
    *,
    noise: SurveyNoise,
    false_alarm: float = 0.05,
    widest_m: float = np.inf,
    two_ties: bool = True,
    least_saving: float = 0.15,
    seed: int = 0,
    check: Callable[[], None] = lambda: None,
) -> PlanChoice:
    """Choose azimuth, spacing and tie lines for a target.

    Parameters
    ----------
    area_m : array, shape (n, 2)
        Vertices of the area [m].
    target : Target
        The target and what isn't known of it.
    layout : LineLayout
        Reading interval, sensor height and pace; its lines don't count.
    noise : SurveyNoise
        Noise of single readings.
    false_alarm : float
        Probability of any false target in the whole area.
    widest_m : float
        Widest line spacing [m], such as a map without aliasing allows; by default any.
    two_ties : bool
        Whether two tie lines may do; else there is one for ten lines (default true).
    least_saving : float
        Share of the rule's line length that must be saved for a plan to be called better
        (default 0.15).
    seed : int
        Start of the draws.
    check : callable
        Called before each plan that is tried; what it raises ends the search.

    Returns
    -------
    PlanChoice

    Raises
    ------
    InputError
        For a number out of range.

    Notes
    -----
    The rule of thumb (`rule_of_thumb`) sets the probability to keep. Wider lines are tried, with
    its tie lines and with two alone, normal to the strike and turned from that where turned lines
    would save a quarter more; the widest that keep the probability are found from the widest one
    by halving, and the shortest of these plans is checked with other and more draws, beside the
    rule: it must keep the probability to half a point with the standard error of the two taken
    off, or gets closer by some rungs. Two tie lines always remain, since lines are levelled by
    them. The lines' shift isn't chosen: the target may lie anywhere against them. A better plan is
    better for the target, noise and area given, no more.

    Examples
    --------
    >>> from lodewalk.methods.bodies.target import Body
    >>> from lodewalk.methods.planning.sought import body_target
    >>> body = Body(length_m=80.0, depth_m=8.0)
    >>> target = body_target(body, ambient_nT=[0.0, 0.0, 5e4], susceptibility=(0.02, 0.04))
    >>> area = [(0, 0), (100, 0), (100, 100), (0, 100)]
    >>> choice = choose_plan(area, target, LineLayout(0.0, 1.0, reading_interval_m=2.0),
    ...                      noise=SurveyNoise())
    >>> choice.better, choice.saving > 0.3
    (True, True)
    """
    check_positive(widest_m if np.isfinite(widest_m) else 1.0, name="widest_m")
    check_within(least_saving, name="least_saving", low=0.0, high=0.99)
    rule = rule_of_thumb(target, layout)
    if widest_m < rule.spacing_m:
        raise InputError(
            "The widest spacing must not be under the rule's, the depth below the sensor.",
            value=widest_m,
        )
    search = _Search(area_m, target, noise, false_alarm, seed, check)
    goal = search.tried(rule).probability - EQUAL
    ties = (TIE_RATIO, np.inf) if two_ties else (TIE_RATIO,)
    plans = [rule, *_wider(search, rule, goal, widest_m, least_saving, ties)]
    return _checked(search, plans, rule, least_saving)


class _Search:
    """Plans that were tried for a target over an area."""

    def __init__(
        self,
        area_m: ArrayLike,
        target: Target,
        noise: SurveyNoise,
        false_alarm: float,
        seed: int,
        check: Callable[[], None],
    ) -> None:
        self.check = check
        self.area, self.target, self.noise = area_m, target, noise
        self.false_alarm, self.seed = false_alarm, seed
        self.plans: list[TriedPlan] = []
        self._prepared: dict[tuple[float, int, int], PreparedTarget] = {}
        self._checks: dict[tuple[LineLayout, int], Detection] = {}

    def detection(self, layout: LineLayout, effort: tuple[int, int], seed: int) -> Detection:
        """Return what a plan promises."""
        self.check()
        places, draws = effort
        key = (layout.sensor_height_m, draws, seed)
        if key not in self._prepared:
            self._prepared[key] = prepare_target(
                self.target, sensor_height_m=layout.sensor_height_m, draws=draws, seed=seed
            )
        return layout_detection(
            self.area,
            layout,
            prepared=self._prepared[key],
            noise=self.noise,
            false_alarm=self.false_alarm,
            places=places,
            seed=seed,
        )

    def checked(self, layout: LineLayout, stage: int) -> Detection:
        """Return what a plan promises by other draws than those of the search."""
        if (layout, stage) not in self._checks:
            found = self.detection(layout, CHECKS[stage], self.seed + CHECK_SEED)
            self._checks[layout, stage] = found
        return self._checks[layout, stage]

    def length(self, layout: LineLayout) -> float:
        """Return the length of a plan's lines [m]."""
        return line_length(self.area, layout)

    def tried(self, layout: LineLayout) -> TriedPlan:
        """Try a plan, and keep it."""
        found = self.detection(layout, SEARCH, self.seed)
        self.plans.append(TriedPlan(layout, self.length(layout), found.probability))
        return self.plans[-1]


def _wider(
    search: _Search,
    rule: LineLayout,
    goal: float,
    widest: float,
    least_saving: float,
    ratios: tuple[float, ...],
) -> list[LineLayout]:
    """Return plans that keep the probability, the shortest last."""
    shortest = (1.0 - least_saving) * search.length(rule)
    kept: list[LineLayout] = []
    for turn in TURNS:
        azimuth = (rule.azimuth_deg + turn) % 180.0
        for ties in ratios:
            ladder = _ladder(search, replace(rule, azimuth_deg=azimuth), ties, widest)
            most = shortest * (1.0 - TURNED if turn and kept else 1.0)
            ladder = [plan for plan in ladder if search.length(plan) <= most]
            found = _widest(search, ladder, goal)
            if found is not None:
                kept.append(found)
                shortest = search.length(found) * (1.0 - 1e-3)
    return kept


def _ladder(search: _Search, plan: LineLayout, ties: float, widest: float) -> list[LineLayout]:
    """Return plans of wider and wider lines; `ties` lines for a tie line, infinite for two."""
    size = float(np.ptp(np.asarray(search.area, dtype=np.float64), axis=0).sum())
    rungs = plan.spacing_m * LADDER ** np.arange(RUNGS)
    spacings = rungs[rungs <= min(widest, size)]
    if widest < min(size, rungs[-1]):
        spacings = np.append(spacings[spacings < widest], widest)
    return [
        replace(
            plan,
            spacing_m=float(spacing),
            tie_spacing_m=min(ties * float(spacing), 2 * size) if np.isfinite(ties) else 2 * size,
        )
        for spacing in spacings
    ]


def _widest(search: _Search, ladder: list[LineLayout], goal: float) -> LineLayout | None:
    """Return the last plan of a ladder that keeps the probability, by halving."""
    if not ladder or search.tried(ladder[0]).probability < goal:
        return None
    if search.tried(ladder[-1]).probability >= goal:
        return ladder[-1]
    low, high = 0, len(ladder) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if search.tried(ladder[middle]).probability >= goal:
            low = middle
        else:
            high = middle
    return ladder[low]


def _checked(
    search: _Search, plans: list[LineLayout], rule: LineLayout, least_saving: float
) -> PlanChoice:
    """Check the shortest plan with other draws, going closer where it fails."""
    longest = search.length(rule)
    plan, found, promised, better = rule, None, search.checked(rule, 0), False
    for trial in _retreats(search, plans, least_saving):
        own, check = _decided(search, rule, trial)
        if _as_sure(check, own):
            plan, found, promised, better = trial, check, own, True
            break
    tried = tuple(search.plans)
    return PlanChoice(
        plan, search.length(plan), found or promised, rule, longest, promised, better, tried
    )


def _retreats(
    search: _Search, plans: list[LineLayout], least_saving: float
) -> Iterator[LineLayout]:
    """Yield the shortest plans and closer ones, as far as they save enough."""
    longest = search.length(plans[0])
    for candidate in plans[:0:-1][:2]:
        for closer in RETREATS:
            trial = _closer(candidate, closer)
            if search.length(trial) > (1.0 - least_saving) * longest:
                break
            yield trial


def _decided(search: _Search, rule: LineLayout, trial: LineLayout) -> tuple[Detection, Detection]:
    """Return what rule and trial promise, from as many places as decide between them."""
    for stage in range(len(CHECKS)):
        own, check = search.checked(rule, stage), search.checked(trial, stage)
        error = _error(check, own)
        if _as_sure(check, own) or check.probability - own.probability < -error - EQUAL:
            break
    return own, check


def _as_sure(check: Detection, promised: Detection) -> bool:
    """Tell whether a plan finds as surely as another, by more than the predictor's own error."""
    return check.probability - promised.probability >= _error(check, promised) - EQUAL


def _error(check: Detection, promised: Detection) -> float:
    """Return the standard error of the difference of two probabilities."""
    return float(np.hypot(check.standard_error, promised.standard_error))


def _closer(plan: LineLayout, rungs: int) -> LineLayout:
    """Return a plan with lines some rungs closer, tie lines as they are."""
    return replace(plan, spacing_m=plan.spacing_m / LADDER**rungs)
