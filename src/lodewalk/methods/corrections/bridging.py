"""Dead-base rescue: the base field inside a gap of its record, with a predicted error."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lodewalk.errors import InputError
from lodewalk.methods.corrections.bridging_revisits import Revisits, hear_revisits
from lodewalk.methods.corrections.bridging_structure import Gap, Record
from lodewalk.methods.corrections.bridging_ways import Source, Way, choose_way
from lodewalk.validation import FloatArray, check_increasing, check_positive, check_same_length

#: Longest and fewest steps of the nodes at which a gap is bridged, and most of them.
NODE_S: Final = 60.0
FEWEST_STEPS: Final = 60
MOST_STEPS: Final = 240

MINUTE_S: Final = 60.0


@dataclass(frozen=True)
class Readings:
    """A record of another base, an observatory, or of other days.

    Parameters
    ----------
    time_s : array, shape (n,)
        Increasing times [s].
    value_nT : array, shape (n,)
        Readings [nT]; missing ones (NaN) are stepped over.
    """

    time_s: ArrayLike
    value_nT: ArrayLike


@dataclass(frozen=True)
class Bridged:
    """Bridged values.

    Parameters
    ----------
    time_s : float array, shape (n,)
        Times [s].
    value_nT : float array, shape (n,)
        Field at the base [nT]; NaN where nothing tells it.
    sd_nT : float array, shape (n,)
        Predicted sd of its error [nT]; ±1.645 sd is the 90 % interval.
    """

    time_s: FloatArray
    value_nT: FloatArray
    sd_nT: FloatArray


@dataclass(frozen=True)
class Bridge:
    """A bridged gap.

    Parameters
    ----------
    start_s, end_s : float
        The gap, from the last base reading before it to the first one after it; where there is
        none, as asked for [s].
    at : Bridged
        At the times asked for.
    minutes : Bridged
        At the whole minutes of the gap.
    source : {"sides", "other record", "quiet days", "unknown"}
        What carries the bridge beside the revisits; "unknown" where the gap can't be bridged.
    factor : float
        By which the other record, or the shape of other days, is multiplied; NaN without.
    n_revisits : int
        Revisits heard.
    revisit_scale : float
        By which their noise turned out larger than stated (never smaller); without a stated sd,
        the sd found [nT]. NaN without revisits.
    """

    start_s: float
    end_s: float
    at: Bridged
    minutes: Bridged
    source: Source
    factor: float
    n_revisits: int
    revisit_scale: float


def bridge_gap(
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    gap_start_s: float,
    gap_end_s: float,
    at_s: ArrayLike,
    base_noise_nT: float,
    others: Sequence[Readings] = (),
    quiet_days: Readings | None = None,
    revisits: Revisits | None = None,
) -> Bridge:
    """Bridge one gap of a base record from whatever else tells of the field.

    Parameters
    ----------
    base_time_s : array, shape (n_base,)
        Increasing times of the base readings [s].
    base_nT : array, shape (n_base,)
        Base readings [nT]; missing ones (NaN) are stepped over.
    gap_start_s, gap_end_s : float
        The gap [s]. Base readings strictly inside are not used, so a spoilt stretch can be
        bridged too.
    at_s : array, shape (n,)
        Where the field is wanted, in any order [s]; NaN is returned outside the gap.
    base_noise_nT : float
        Noise sd of one base reading [nT].
    others : sequence of Readings, optional
        Second bases or observatories; any constant level. The best one is followed.
    quiet_days : Readings, optional
        Other days of a base at this site, several days in one record; its part at the same time
        of day serves as shape.
    revisits : Revisits, optional
        Rover readings twice at one place, one or both times in the gap.

    Returns
    -------
    Bridge
        Values and predicted errors at `at_s` and at the whole minutes. Values are NaN, and the
        source is "unknown", where nothing tells the field: a gap at an end of the record without
        another record, or sides too short to tell how rough the field is.

    Raises
    ------
    InputError
        When the gap isn't finite or doesn't end after its start, no base reading lies beside it,
        lengths differ, times don't increase, the base noise is below zero, an sd of revisits
        isn't above zero, or revisits come without an sd and too few lie beside the gap to tell it.

    Notes
    -----
    The field is an intrinsic random function: half its squared difference over a lag h is a sum
    of powers of h (0.5, 1, 1.5, 1.9), fitted to the misfits of the record within eight lengths of
    the gap, over lags up to its length (Matheron 1973; Chilès and Delfiner 2012, chapters 2 and
    3). The bridge from the sides is three parts of the straight line and one of the kriging
    estimate, so that a wrong structure function costs little; its error covariance C is that of
    these weights. For a random walk both are the straight line.

    Another record is followed as ``base = b other + R``: the remainder R is kriged with its own
    structure function, noise included. b comes from misfits of both records over lags of a tenth
    of the gap and more, drawn towards 1 with sd 0.1 (0.5 for the shape of other days), and its
    error is in C. A record is followed only where this predicts a squared error under 0.8 of that
    from the sides; the shape of other days, smoothed over half the gap, where it is under 0.6 and
    b lies in 0.5 to 2. So it seldom serves in an hour, where pulsations and bays decide.

    A revisit is ``d = B(t1) - B(t2) + noise``. Given bridged values with covariance s C, the
    revisits are heard by Bayes' rule; s, the roughness in the gap over that on the sides, has a
    lognormal prior (sd of ln s: 1) and is averaged out, the noise has Student's distribution of
    four degrees of freedom (Lange, Little and Taylor 1989).

    A base that stopped and never came back, or began late, is bridged along another record only.
    R keeps its level of the last common readings, and its squared error is the structure function
    over the time since then, raised by the square of Student's over the normal 95 % point for the
    few lags as long as that that have been seen.

    Not valid where the field in the gap is of another kind than on its sides, as for a storm
    that begins and ends inside it: without another record or revisits nothing can tell, and the
    sd is too small. 90 % holds over many gaps, not for each. The remainder of a distant
    observatory is taken to be as rough in the gap as beside it. Revisits that share an error (a
    rover's clock, heading) are not independent, as assumed. Between nodes (a minute apart in an
    hour; 1/240 of gaps over four hours) values lie on straight lines, the error of that included.

    References
    ----------
    Matheron, G. (1973), The intrinsic random functions and their applications, Advances in
    Applied Probability 5, 439-468, doi:10.2307/1425829.
    Chilès, J.-P. and Delfiner, P. (2012), Geostatistics: modeling spatial uncertainty, 2nd ed.,
    Wiley, doi:10.1002/9781118136188.
    Lange, K. L., Little, R. J. A. and Taylor, J. M. G. (1989), Robust statistical modeling using
    the t distribution, Journal of the American Statistical Association 84, 881-896,
    doi:10.1080/01621459.1989.10478852.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0, 10.0)
    >>> field = 48_000 + np.cumsum(np.random.default_rng(1).normal(scale=0.1, size=time.size))
    >>> second = Readings(time, field + 35.0)
    >>> dead = (time > 3000) & (time < 5000)
    >>> bridge = bridge_gap(
    ...     time[~dead], field[~dead], gap_start_s=3000, gap_end_s=5000, at_s=time[dead],
    ...     base_noise_nT=0.01, others=[second],
    ... )
    >>> bridge.source, bool(np.abs(bridge.at.value_nT - field[dead]).max() < 0.1)
    ('other record', True)
    """
    base = _record(Readings(base_time_s, base_nT), name="base")
    if not base_noise_nT >= 0:
        raise InputError("base_noise_nT must not be below zero.", value=base_noise_nT)
    gap, sides = _gap_and_sides(base, gap_start_s, gap_end_s)
    nodes_s = np.linspace(gap.first_s, gap.last_s, _steps(gap.length_s) + 1)
    way = choose_way(
        sides,
        gap,
        nodes_s,
        others=tuple(_record(one, name="other record") for one in others),
        quiet_days=None if quiet_days is None else _record(quiet_days, name="quiet days"),
        noise_nT=base_noise_nT,
    )
    wanted_s = np.atleast_1d(np.asarray(at_s, dtype=np.float64))
    if way is None:
        at, minutes = _nothing(wanted_s), _nothing(_whole_minutes(gap))
        return Bridge(gap.first_s, gap.last_s, at, minutes, "unknown", np.nan, 0, np.nan)
    way, number, scale = hear_revisits(
        revisits, sides=sides, nodes_s=nodes_s, way=way, base_noise_nT=base_noise_nT
    )
    return Bridge(
        start_s=gap.first_s,
        end_s=gap.last_s,
        at=_bridged(wanted_s, nodes_s, way),
        minutes=_bridged(_whole_minutes(gap), nodes_s, way),
        source=way.source,
        factor=way.factor,
        n_revisits=number,
        revisit_scale=scale,
    )


def bridge_gaps(
    base_time_s: ArrayLike,
    base_nT: ArrayLike,
    *,
    at_s: ArrayLike,
    max_gap_s: float,
    base_noise_nT: float,
    others: Sequence[Readings] = (),
    quiet_days: Readings | None = None,
    revisits: Revisits | None = None,
) -> tuple[Bridged, tuple[Bridge, ...]]:
    """Bridge every gap of a base record in which the field is wanted.

    Parameters
    ----------
    base_time_s, base_nT, base_noise_nT, others, quiet_days, revisits
        As in `bridge_gap`.
    at_s : array, shape (n,)
        Where the field is wanted, in any order [s].
    max_gap_s : float
        A longer interval between two base readings is a gap [s]. Before the first and after the
        last reading lies a gap too, as far as the field is wanted.

    Returns
    -------
    Bridged
        At `at_s`; NaN at the times that lie in no gap, and where nothing tells the field.
    tuple of Bridge
        One for each gap with a wanted time, in order; `at` of each holds the wanted times inside.

    Raises
    ------
    InputError
        As `bridge_gap`; also when `max_gap_s` isn't above zero.

    Notes
    -----
    Each gap is bridged for itself: a revisit with its two readings in two gaps isn't heard.

    Examples
    --------
    >>> time = np.arange(0.0, 7200.0, 10.0)
    >>> field = 48_000 + np.cumsum(np.random.default_rng(1).normal(scale=0.1, size=time.size))
    >>> live = (time <= 3000) | (time >= 5000)
    >>> all_times, gaps = bridge_gaps(
    ...     time[live], field[live], at_s=[100.0, 4000.0], max_gap_s=30, base_noise_nT=0.01
    ... )
    >>> np.isfinite(all_times.value_nT).tolist(), [gap.start_s for gap in gaps]
    ([False, True], [3000.0])
    """
    check_positive(max_gap_s, name="max_gap_s")
    base = _record(Readings(base_time_s, base_nT), name="base")
    wanted_s = np.atleast_1d(np.asarray(at_s, dtype=np.float64))
    total, gaps = _nothing(wanted_s), []
    for start_s, end_s in _gaps_with(wanted_s, base.time_s, max_gap_s):
        inside = np.flatnonzero((wanted_s > start_s) & (wanted_s < end_s))
        bridge = bridge_gap(
            base.time_s,
            base.value_nT,
            gap_start_s=start_s,
            gap_end_s=end_s,
            at_s=wanted_s[inside],
            base_noise_nT=base_noise_nT,
            others=others,
            quiet_days=quiet_days,
            revisits=revisits,
        )
        total.value_nT[inside], total.sd_nT[inside] = bridge.at.value_nT, bridge.at.sd_nT
        gaps.append(bridge)
    return total, tuple(gaps)


def _gaps_with(
    wanted_s: FloatArray, base_s: FloatArray, max_gap_s: float
) -> list[tuple[float, float]]:
    """Return start and end of each gap with a wanted time strictly inside."""
    if not base_s.size:
        raise InputError("A base record needs at least one reading with a value.")
    wanted = np.sort(wanted_s[np.isfinite(wanted_s)])
    edges = np.concatenate(([-np.inf], base_s, [np.inf]))
    place = np.searchsorted(base_s, wanted)  # the gap between edges[place] and the next edge
    strictly = wanted != edges[place + 1]
    wanted, place = wanted[strictly], place[strictly]
    found = []
    for at in np.unique(place).tolist():
        start, end = float(edges[at]), float(edges[at + 1])
        if end - start > max_gap_s:
            # an open gap reaches past the wanted times, so that they lie inside
            inside = wanted[place == at]
            start = start if np.isfinite(start) else float(inside[0]) - MINUTE_S
            end = end if np.isfinite(end) else float(inside[-1]) + MINUTE_S
            found.append((start, end))
    return found


def _record(readings: Readings, *, name: str) -> Record:
    """Return the readings with a value, checked."""
    time = np.atleast_1d(np.asarray(readings.time_s, dtype=np.float64))
    value = np.atleast_1d(np.asarray(readings.value_nT, dtype=np.float64))
    check_same_length(**{f"{name} time_s": time, f"{name} nT": value})
    check_increasing(time, name=f"{name} time_s")
    known = np.isfinite(value)
    return Record(time, value) if known.all() else Record(time[known], value[known])


def _gap_and_sides(base: Record, start_s: float, end_s: float) -> tuple[Gap, Record]:
    """Return the gap between base readings, and the readings beside it."""
    if not (end_s > start_s and np.isfinite([start_s, end_s]).all()):
        rule = "A gap must have a finite start and must end after it."
        raise InputError(rule, value=f"{start_s} to {end_s}")
    before = int(np.searchsorted(base.time_s, start_s, side="right"))
    after = int(np.searchsorted(base.time_s, end_s, side="left"))
    if before == 0 and after == base.time_s.size:
        rule = "A gap needs base readings before or after it."
        raise InputError(rule, value=f"none outside {start_s} to {end_s}")
    start = float(base.time_s[before - 1]) if before else -np.inf
    end = float(base.time_s[after]) if after < base.time_s.size else np.inf
    gap = Gap(start, end, start if before else start_s, end if np.isfinite(end) else end_s)
    beside = np.r_[0:before, after : base.time_s.size]
    return gap, base.part(beside)


def _steps(length_s: float) -> int:
    """Return the number of steps between the nodes of a gap."""
    return int(min(max(np.ceil(length_s / NODE_S), FEWEST_STEPS), MOST_STEPS))


def _whole_minutes(gap: Gap) -> FloatArray:
    """Return the whole minutes strictly inside the gap [s]."""
    first = np.floor(gap.first_s / MINUTE_S) + 1
    minutes: FloatArray = np.arange(first, np.ceil(gap.last_s / MINUTE_S)) * MINUTE_S
    return minutes


def _nothing(at_s: FloatArray) -> Bridged:
    """Return unknown values at the times."""
    return Bridged(at_s, np.full(at_s.shape, np.nan), np.full(at_s.shape, np.nan))


def _bridged(at_s: FloatArray, nodes_s: FloatArray, way: Way) -> Bridged:
    """Return values and errors between the nodes; NaN outside them and beside uncovered ones."""
    value = np.full(nodes_s.size, np.nan)
    value[way.covered] = way.estimate.value_nT
    square = np.full((nodes_s.size, nodes_s.size), np.nan)
    square[np.ix_(way.covered, way.covered)] = way.estimate.covariance_nT2
    variance, beside = np.diag(square), np.diag(square, 1)
    follow = np.zeros(at_s.shape)
    if way.followed is not None:
        value = value - way.factor * way.followed.at(nodes_s)
        follow = way.factor * way.followed.at(at_s)
    step = nodes_s[1] - nodes_s[0]
    inside = (at_s >= nodes_s[0]) & (at_s <= nodes_s[-1])
    place = np.where(inside, (at_s - nodes_s[0]) / step, 0.0)
    before = np.minimum(place, nodes_s.size - 2).astype(np.int64)
    share = np.where(inside, place - before, np.nan)
    rest = 1 - share
    after = before + 1
    total = rest**2 * variance[before] + share**2 * variance[after]
    total += 2 * rest * share * beside[before]
    total += 4 * rest * share * way.structure.chord_error(step) + way.noise_nT2
    found = rest * value[before] + share * value[after] + follow
    return Bridged(at_s, found, np.sqrt(np.maximum(total, 0.0)))
