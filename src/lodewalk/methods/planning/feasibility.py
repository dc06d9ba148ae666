"""Whether a survey is worth walking: the verdict, and what would change the odds most."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from lodewalk.methods.planning.detection import Scores, layout_scores
from lodewalk.methods.planning.expected import Source, expected_curve, main_azimuth
from lodewalk.methods.planning.line_layout import TIE_RATIO, LineLayout
from lodewalk.methods.planning.sought import Target, body_target, prepare_target
from lodewalk.methods.planning.survey_noise import RandomField, SurveyNoise
from lodewalk.validation import FloatArray

Verdict = Literal["go", "doubtful", "no-go"]

#: Less than an even chance is no survey, unless one change puts it right.
EVEN: Final = 0.5
#: A sign of the contrast less likely than this isn't looked for.
UNLIKELY: Final = 0.02
#: Places at which the body is put, and draws of its depth and strike: few first, which do where
#: all but this of it is certain either way; else the standard error is a point or two.
FEW, MANY = (6, 24), (16, 64)
CERTAIN: Final = 0.0005
#: Sensors are not carried lower than this [m].
LOWEST_M: Final = 0.3


@dataclass(frozen=True)
class Case:
    """How a survey would be walked, and how much is known of the body: what odds depend on.

    Parameters
    ----------
    layout : LineLayout
        Lines, tie lines, interval of readings and height of the sensor.
    noise : SurveyNoise
        Noise of the readings.
    susceptibility, spread : float
        Contrast [SI], and the sd of its logarithm.
    depth_m, depth_factor : float
        Depth of the body [m], and the factor within which it lies either way.
    """

    layout: LineLayout
    noise: SurveyNoise
    susceptibility: float
    spread: float
    depth_m: float
    depth_factor: float


@dataclass(frozen=True)
class Seeking:
    """What is sought and where: that which no change of the survey touches.

    Parameters
    ----------
    source : Source
        The body as expected, with what magnetises it.
    contrasts : array, shape (n,)
        Draws of what the contrast may be [SI].
    strike_sd_deg : float
        Sd of its strike [deg].
    area_m : array, shape (n, 2)
        Corners of the area [m].
    false_alarm : float
        Probability of any false target in the whole survey.
    """

    source: Source
    contrasts: FloatArray
    strike_sd_deg: float
    area_m: FloatArray
    false_alarm: float


def probabilities_of(seeking: Seeking, cases: Sequence[Case]) -> list[float]:
    """Return the probability that each of some surveys finds the body.

    Parameters
    ----------
    seeking : Seeking
        Body and area.
    cases : sequence of Case
        Surveys that agree in depth, its factor and sensor height (`alike`), whose tables are
        shared. Where the spread is zero the contrast is known, else it is that of the draws.

    Returns
    -------
    list of float
        Probability of `layout_detection`.

    Raises
    ------
    InputError
        When nothing could be walked or the body can't be.

    Notes
    -----
    Where the contrast may be of either sign anomalies of both are looked for; then one of -k is
    found as often as one of k, so sizes alone count. The body is put at a few places first, and at
    more where the odds are neither certain nor nil.

    Examples
    --------
    >>> from lodewalk.methods.bodies import Body
    >>> body = Body(kind="sphere", depth_m=8.0, radius_m=3.0)
    >>> square = np.array([[0.0, 0.0], [80.0, 0.0], [80.0, 80.0], [0.0, 80.0]])
    >>> seeking = Seeking(Source(body, np.array([0.0, 0.0, 5e4]), 0.1, np.zeros(3)),
    ...                   np.full(9, 0.1), 0.0, square, 0.05)
    >>> case = Case(LineLayout(0.0, 10.0), SurveyNoise(), 0.1, 0.0, 8.0, 1.0)
    >>> probabilities_of(seeking, [case])[0] > 0.9
    True
    """
    first, source = cases[0], seeking.source
    height = first.layout.sensor_height_m
    either = min(np.mean(seeking.contrasts > 0.0), np.mean(seeking.contrasts < 0.0)) > UNLIKELY
    target = body_target(
        replace(source.body, depth_m=first.depth_m),
        ambient_nT=source.ambient_nT,
        susceptibility=(source.susceptibility,) * 2,
        remanence_A_m=source.remanence_A_m,
        depth_factor=first.depth_factor,
        strike_sd_deg=seeking.strike_sd_deg,
        both_polarities=bool(either),
    )
    targets = []
    for case in cases:
        low, high = _strengths(seeking, case)
        targets.append(replace(target, strength_low=low, strength_high=high))
    chances = np.full(len(cases), 0.5)
    for effort in (FEW, MANY):
        unsure = np.flatnonzero(np.minimum(chances, 1.0 - chances) > CERTAIN).tolist()
        if unsure:
            chances[unsure] = _chances(
                seeking, [cases[k] for k in unsure], [targets[k] for k in unsure], height, effort
            )
    return [float(chance) for chance in chances]


def _chances(
    seeking: Seeking,
    cases: Sequence[Case],
    targets: Sequence[Target],
    height_m: float,
    effort: tuple[int, int],
) -> list[float]:
    """Return the probability of each case; those on the same lines share their scores."""
    places, draws = effort
    prepared = prepare_target(targets[0], sensor_height_m=height_m, draws=draws)
    scores: dict[tuple[LineLayout, SurveyNoise], Scores] = {}
    for case in cases:
        same = case.layout, case.noise
        if same not in scores:
            scores[same] = layout_scores(
                seeking.area_m, case.layout, prepared=prepared, noise=case.noise,
                false_alarm=seeking.false_alarm, places=places,
            )  # fmt: skip
    return [
        scores[case.layout, case.noise].detection(target).probability
        for case, target in zip(cases, targets, strict=True)
    ]


def alike(case: Case) -> tuple[float, float, float]:
    """Return what cases must agree in to share their tables."""
    return case.depth_m, case.depth_factor, case.layout.sensor_height_m


def _strengths(seeking: Seeking, case: Case) -> tuple[float, float]:
    """Return the anomaly's size at the ends of the contrast over that at the expected one."""
    if not case.spread:
        return (size_share(seeking.source, case.susceptibility),) * 2
    low, high = np.quantile(np.abs(seeking.contrasts), [0.05, 0.95])
    return size_share(seeking.source, float(low)), size_share(seeking.source, float(high))


def size_share(source: Source, susceptibility: float) -> float:
    """Return how large the anomaly is with another contrast, of either sign.

    Parameters
    ----------
    source : Source
        The body as expected; its remanence goes with its contrast.
    susceptibility : float
        The other contrast [SI]; its size counts.

    Returns
    -------
    float
        Peak-to-trough over that of the contrast expected. Of weak bodies it goes with the
        contrast; of strong ones demagnetisation holds it back.

    Examples
    --------
    A sphere takes ``k / (1 + k / 3)``.

    >>> from lodewalk.methods.bodies import Body
    >>> sphere = Body(kind="sphere", depth_m=40.0, radius_m=1.0)
    >>> source = Source(sphere, np.array([0.0, 0.0, 5e4]), 3.0, np.zeros(3))
    >>> round(size_share(source, 300.0), 2)
    1.98
    """
    size = abs(susceptibility) * np.sign(source.susceptibility)
    other = replace(
        source,
        susceptibility=float(size),
        remanence_A_m=source.remanence_A_m * size / source.susceptibility,
    )
    height, azimuth = 0.1 * source.body.depth_m, main_azimuth(source)
    own, changed = (
        expected_curve(each, azimuth_deg=azimuth, sensor_height_m=height).peak_to_trough
        for each in (source, other)
    )
    return changed / own if own else 0.0


@dataclass(frozen=True)
class Change:
    """One thing to do otherwise.

    Parameters
    ----------
    name, text : str
        What it is, in a word and in a sentence.
    case : Case
        The survey with it.
    of_survey : bool
        Whether it changes the survey; else it is something to learn before going.
    """

    name: str
    text: str
    case: Case
    of_survey: bool = True


def verdict_of(probability: float, *, wanted: float, best: float) -> Verdict:
    """Return go, doubtful or no-go.

    Parameters
    ----------
    probability : float
        Probability of detection of the survey as planned.
    wanted : float
        Probability that is wanted.
    best : float
        Probability with the one change of the survey that helps most.

    Returns
    -------
    str
        ``go`` from the probability wanted on; ``doubtful`` from an even chance on, or where one
        change brings the probability wanted; else ``no-go`` (our own rule).

    Examples
    --------
    >>> verdict_of(0.95, wanted=0.9, best=0.99), verdict_of(0.3, wanted=0.9, best=0.92)
    ('go', 'doubtful')
    >>> verdict_of(0.3, wanted=0.9, best=0.6)
    'no-go'
    """
    if probability >= wanted:
        return "go"
    return "doubtful" if probability >= EVEN or best >= wanted else "no-go"


def lowered(case: Case, by_m: float) -> Case | None:
    """Return a survey with the sensor carried lower; None where that can't be done.

    Parameters
    ----------
    case : Case
        The survey.
    by_m : float
        How much lower [m].

    Returns
    -------
    Case or None
        Anomalies of soil and rocks grow as well: those of a white layer as one over its depth
        below the sensor, which is the law of the noise's covariance.

    Examples
    --------
    >>> noise = SurveyNoise(geology=(RandomField(1.0, 3.0),))
    >>> case = Case(LineLayout(90.0, 20.0, sensor_height_m=2.0), noise, 0.01, 0.0, 10.0, 1.3)
    >>> lower = lowered(case, 1.0)
    >>> lower.noise.geology[0]
    RandomField(sd_nT=1.5, depth_m=2.0)
    >>> lowered(case, 2.0) is None
    True
    """
    height = case.layout.sensor_height_m - by_m
    if height < LOWEST_M:
        return None
    nearer = tuple(
        RandomField(field.sd_nT * field.depth_m / (field.depth_m - by_m), field.depth_m - by_m)
        for field in case.noise.geology
    )
    return replace(
        case,
        layout=replace(case.layout, sensor_height_m=height),
        noise=replace(case.noise, geology=nearer),
    )


def changes(case: Case, *, measured: Mapping[str, float] | None = None) -> Iterator[Change]:
    """Yield what could be done otherwise, one thing at a time.

    Parameters
    ----------
    case : Case
        The survey as planned.
    measured : mapping, optional
        ``low`` and ``high``: first and third quartile of the contrast [SI], for the case that a
        hand meter finds it; none where it has no range.

    Yields
    ------
    Change
        Sensor half a metre and a metre lower; lines at half the spacing and at twice; half of
        the diurnal left-over; half of the noise of sensor and walk; tie lines, or twice as
        many; the susceptibility measured.

    Examples
    --------
    >>> case = Case(LineLayout(90.0, 20.0), SurveyNoise(), 0.01, 0.5, 10.0, 1.3)
    >>> [change.name for change in changes(case, measured={"low": 0.005, "high": 0.02})]
    ['sensor 0.5 m lower', 'sensor 1 m lower', 'closer lines', 'sparser lines', \
'quieter hours', 'quieter sensor and walk', 'tie lines', 'hand meter, low', 'hand meter, high']
    """
    layout, noise = case.layout, case.noise
    for by_m in (0.5, 1.0):
        lower = lowered(case, by_m)
        if lower is not None:
            yield Change(
                f"sensor {by_m:g} m lower",
                f"Carry the sensor {by_m:g} m lower, at {lower.layout.sensor_height_m:g} m; soil "
                "and gear then disturb more.",
                lower,
            )
    half = layout.spacing_m / 2
    yield Change(
        "closer lines",
        f"Walk lines {half:.3g} m apart instead of {layout.spacing_m:.3g} m: twice the kilometres.",
        replace(case, layout=replace(layout, spacing_m=half)),
    )
    yield Change(
        "sparser lines",
        f"Walk lines {2 * layout.spacing_m:.3g} m apart: half the kilometres.",
        replace(case, layout=replace(layout, spacing_m=2 * layout.spacing_m)),
    )
    yield Change(
        "quieter hours",
        f"Walk in quieter hours or another season: {noise.diurnal_nT / 2:g} nT of the daily "
        "variation left over, half as much.",
        replace(case, noise=replace(noise, diurnal_nT=noise.diurnal_nT / 2)),
    )
    yield Change(
        "quieter sensor and walk",
        f"Halve the noise of sensor and walk, to {noise.white_sd / 2:.2g} nT a reading.",
        replace(
            case,
            noise=replace(
                noise, instrument_nT=noise.instrument_nT / 2, walking_nT=noise.walking_nT / 2
            ),
        ),
    )
    yield _ties(case)
    for name, contrast in (measured or {}).items():
        yield Change(
            f"hand meter, {name}",
            f"If a hand meter shows a contrast of {contrast:{'.0f' if contrast > 99 else '.2g'}} "
            f"SI; one time in four it will be {'less' if name == 'low' else 'more'}.",
            replace(case, susceptibility=contrast, spread=0.0),
            of_survey=False,
        )


def _ties(case: Case) -> Change:
    """Return the survey with tie lines, or with twice as many."""
    now = case.layout.tie_spacing_m
    apart = TIE_RATIO * case.layout.spacing_m if now is None else now / 2
    words = "Add tie lines" if now is None else "Walk twice as many tie lines,"
    return Change(
        "tie lines",
        f"{words} {apart:.3g} m apart, and level by them.",
        replace(case, layout=replace(case.layout, tie_spacing_m=apart)),
    )


def ends_of(case: Case, *, low: float, high: float) -> Iterator[tuple[str, str, float, Case]]:
    """Yield the cases at the ends of what isn't known of the body.

    Parameters
    ----------
    case : Case
        The survey as planned.
    low, high : float
        5 % and 95 % point of the contrast [SI].

    Yields
    ------
    what, end, value, case
        ``susceptibility`` and ``depth``, each ``low``, ``typical`` and ``high``: one is held at
        the value, the other stays unknown.

    Examples
    --------
    >>> case = Case(LineLayout(90.0, 20.0), SurveyNoise(), 0.01, 0.5, 10.0, 1.5)
    >>> [(what, end, round(value, 3)) for what, end, value, _ in ends_of(case, low=0.003,
    ...                                                                  high=0.03)][3:]
    [('depth', 'low', 6.667), ('depth', 'typical', 10.0), ('depth', 'high', 15.0)]
    """
    for end, value in (("low", low), ("typical", case.susceptibility), ("high", high)):
        yield "susceptibility", end, value, replace(case, susceptibility=value, spread=0.0)
    for end, power in (("low", -1), ("typical", 0), ("high", 1)):
        depth = case.depth_m * float(np.power(case.depth_factor, power))
        yield "depth", end, depth, replace(case, depth_m=depth, depth_factor=1.0)
