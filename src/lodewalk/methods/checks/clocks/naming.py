"""Names for a clock's slip: what a person or an instrument may have done to bring it about."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.errors import InputError
from lodewalk.units import SECONDS_PER_DAY

HOUR_S: Final = 3600.0

#: Weeks after which the week count of the older GPS signal starts again: ten bits (IS-GPS-200).
ROLLOVER_S: Final = 1024 * 7 * SECONDS_PER_DAY

#: Smallest tolerance of a name [s]: clocks set by hand are wrong by a few seconds.
LEAST_TOLERANCE_S: Final = 4.0

#: Scatter of a slipped clock about the named value [s] (judgement).
SCATTER_S: Final = 1.5

#: Weight of a slip without a name, spread evenly over two days either way.
UNNAMED: Final = 0.01
UNNAMED_RANGE_S: Final = 4 * SECONDS_PER_DAY

#: Share of slips that come with GPS time kept as UTC besides.
WITH_GPS: Final = 0.02

#: Zones off UTC that end on a quarter of an hour [h], tz database.
QUARTER_ZONES_H: Final = (5.75, 8.75, 12.75)


@dataclass(frozen=True)
class NamedSlip:
    """A named cause of a slip.

    Parameters
    ----------
    kind : str
        Short name: ``right``, ``gps time``, ``gps time twice``, ``summer time``, ``local as UTC``,
        ``UTC as local``, ``zone sign``, ``neighbouring zone``, ``another zone``,
        ``twelve hours``, ``days`` or ``week rollover``; with `` and gps time`` where GPS time
        comes on top.
    offset_s : float
        Clock minus UTC that the cause brings about [s].
    probability : float
        Probability among the named causes and a slip without a name.
    text : str
        A sentence.
    """

    kind: str
    offset_s: float
    probability: float
    text: str


@dataclass(frozen=True)
class _Cause:
    kind: str
    offset_s: float
    weight: float
    reason: str


def named_slips(
    offset_s: float,
    sd_s: float,
    *,
    zone_offset_s: float | None,
    gps_minus_utc_s: float,
) -> tuple[NamedSlip, ...]:
    """Name the causes that would bring about a clock's offset.

    Parameters
    ----------
    offset_s, sd_s : float
        Clock minus UTC, and its standard deviation [s].
    zone_offset_s : float or None
        The site's local time minus UTC at the date, summer time included [s]; None where it isn't
        known.
    gps_minus_utc_s : float
        GPS time minus UTC at the date [s], from `gps_minus_utc`.

    Returns
    -------
    tuple of NamedSlip
        The causes within three sd, or a few seconds if that is more, the most probable first.
        Empty where none fits (a slip without a name) and where the offset is NaN. A cause of
        kind ``right`` says that the clock may as well be right.

    Raises
    ------
    InputError
        When `sd_s` is below zero or the zone lies further than 15 h from UTC.

    Notes
    -----
    The probability of cause k is ``w_k N(offset; offset_k, s) / sum``, with ``s^2 = sd^2 + (1.5
    s)^2`` and a slip without a name, evenly spread, in the sum; so the probabilities of the
    returned causes don't add up to 1. The weights w are judgement, no source: a whole zone or
    summer time, one day, and GPS time are the commonest. Two causes with the same offset, such as
    summer time and the local time of a site one hour east of Greenwich, are both returned. A slip
    between two instruments may be either's: swap the sign for the other.

    Examples
    --------
    >>> best = named_slips(-3599.2, 20.0, zone_offset_s=7200.0, gps_minus_utc_s=18.0)[0]
    >>> best.kind, best.text
    ('summer time', 'The clock is 1 h behind: an hour of summer time left out or taken off twice.')
    >>> named_slips(777.0, 5.0, zone_offset_s=7200.0, gps_minus_utc_s=18.0)
    ()
    """
    if not sd_s >= 0:
        raise InputError("sd_s must not be below zero.", value=sd_s)
    zone = 0.0 if zone_offset_s is None else zone_offset_s
    if not abs(zone) <= 15 * HOUR_S:
        raise InputError(
            "zone_offset_s must lie within 15 h of UTC.",
            value=zone_offset_s,
            remedy="Is it given in seconds?",
        )
    if not (np.isfinite(offset_s) and np.isfinite(sd_s)):
        return ()
    tolerance = max(3 * sd_s, LEAST_TOLERANCE_S)
    causes = _causes(zone, gps_minus_utc_s, offset_s, tolerance)
    near = [cause for cause in causes if abs(cause.offset_s - offset_s) <= tolerance]
    sd = float(np.hypot(sd_s, SCATTER_S))
    weights = [cause.weight * _normal(offset_s - cause.offset_s, sd) for cause in near]
    total = sum(weights) + UNNAMED / UNNAMED_RANGE_S
    named = [
        NamedSlip(cause.kind, cause.offset_s, weight / total, _sentence(cause))
        for cause, weight in zip(near, weights, strict=True)
    ]
    return tuple(sorted(named, key=lambda slip: -slip.probability))


def slip_density(
    offset_s: float, sd_s: float, *, zone_offset_s: float | None, gps_minus_utc_s: float
) -> tuple[float, float]:
    """Return how likely an offset of one clock is if it slipped by GPS time, or in another way.

    Parameters
    ----------
    offset_s, sd_s : float
        Clock minus UTC, and its standard deviation [s].
    zone_offset_s, gps_minus_utc_s : float
        As for `named_slips`.

    Returns
    -------
    gps, other : float
        Densities [1/s], weighted as in `named_slips`, where a right clock has the weight 1.

    Examples
    --------
    >>> ahead, _ = slip_density(18.0, 1.0, zone_offset_s=0.0, gps_minus_utc_s=18.0)
    >>> behind, _ = slip_density(-18.0, 1.0, zone_offset_s=0.0, gps_minus_utc_s=18.0)
    >>> round(ahead / behind)
    10
    """
    sd = float(np.hypot(sd_s, SCATTER_S))
    zone = 0.0 if zone_offset_s is None else zone_offset_s
    gps, other = 0.0, UNNAMED / UNNAMED_RANGE_S
    for cause in _causes(zone, gps_minus_utc_s, offset_s, 3 * sd):
        density = cause.weight * _normal(offset_s - cause.offset_s, sd)
        if cause.kind in ("gps time", "gps time twice"):
            gps += density
        elif cause.kind != "right":
            other += density
    return gps, other


def _normal(value: float, sd: float) -> float:
    """Return the normal density."""
    return float(np.exp(-0.5 * (value / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))


def _causes(zone: float, gps: float, offset: float, tolerance: float) -> list[_Cause]:
    """Return all causes, those in whole days near the offset only."""
    causes = [
        *_of_gps(gps),
        *_of_the_zone(zone),
        *_of_other_zones(zone),
        *_of_days(offset, tolerance),
    ]
    mixed = [
        _Cause(
            f"{cause.kind} and gps time",
            cause.offset_s + gps,
            WITH_GPS * cause.weight,
            f"{cause.reason}, and GPS time kept as UTC",
        )
        for cause in causes
        if abs(cause.offset_s) > gps
    ]
    return [_Cause("right", 0.0, 1.0, "the clock may be right"), *causes, *mixed]


def _of_gps(gps: float) -> list[_Cause]:
    """Return the causes that lie in the seconds between GPS time and UTC."""
    if not gps > 0:
        return []
    return [
        _Cause("gps time", gps, 0.1, "GPS time kept as UTC"),
        _Cause("gps time twice", -gps, 0.01, "the leap seconds taken off GPS time twice"),
    ]


def _of_the_zone(zone: float) -> list[_Cause]:
    """Return the causes that lie in the site's own zone."""
    causes = [
        _Cause("summer time", HOUR_S, 0.1, "an hour of summer time counted as UTC"),
        _Cause("summer time", -HOUR_S, 0.1, "an hour of summer time left out or taken off twice"),
        _Cause("twelve hours", 12 * HOUR_S, 0.05, "a 12-hour clock, morning taken for afternoon"),
        _Cause("twelve hours", -12 * HOUR_S, 0.05, "a 12-hour clock, afternoon taken for morning"),
    ]
    if zone:
        causes += [
            _Cause("local as UTC", zone, 0.2, "local time taken as UTC"),
            _Cause("UTC as local", -zone, 0.02, "UTC taken as local time"),
            _Cause("zone sign", 2 * zone, 0.05, "local time put to UTC with the zone's sign wrong"),
            _Cause(
                "zone sign", -2 * zone, 0.005, "UTC put to local time with the zone's sign wrong"
            ),
        ]
    return causes


def _of_other_zones(zone: float) -> list[_Cause]:
    """Return the causes that lie in a zone other than the site's."""
    causes = [
        _Cause("neighbouring zone", sign * HOUR_S, 0.02, "the zone next to the site's")
        for sign in (1, -1)
    ]
    causes += [
        _Cause(
            "neighbouring zone", sign * part * HOUR_S, 0.01, "a zone that is part of an hour off"
        )
        for sign in (1, -1)
        for part in (0.25, 0.5, 0.75)
    ]
    hours = {half / 2 for half in range(-28, 29) if abs(half) > 2}
    hours |= {sign * quarter for quarter in QUARTER_ZONES_H for sign in (1, -1)}
    taken = {zone / HOUR_S * factor for factor in (1, -1, 2, -2)} if zone else set()
    causes += [
        _Cause(
            "another zone",
            hour * HOUR_S,
            0.004 if hour == int(hour) else 0.002,
            f"the time of a zone {abs(hour):g} h away",
        )
        for hour in sorted(hours - taken)
    ]
    return causes


def _of_days(offset: float, tolerance: float) -> list[_Cause]:
    """Return a wrong date by the whole days nearest the offset, and the rollover of the weeks."""
    nearest = round(offset / SECONDS_PER_DAY)
    reach = min(int(tolerance / SECONDS_PER_DAY) + 1, 3)
    days = sorted({*range(nearest - reach, nearest + reach + 1), 1, -1} - {0, 7168, -7168})
    causes = [
        _Cause("days", day * SECONDS_PER_DAY, _day_weight(day), "a wrong date") for day in days
    ]
    weeks = "the count of GPS weeks started again after 1024 weeks"
    causes.append(_Cause("week rollover", -ROLLOVER_S, 0.05, weeks))
    causes.append(_Cause("week rollover", ROLLOVER_S, 0.01, weeks))
    return causes


def _day_weight(day: int) -> float:
    """Return the weight of a date wrong by some days."""
    return 0.1 if abs(day) == 1 else 0.02 / abs(day) + 1e-4


def _sentence(cause: _Cause) -> str:
    """Return the cause in a sentence."""
    if cause.kind == "right":
        return "The clock may be right: the offset doesn't differ from zero by more than its error."
    way = "ahead" if cause.offset_s > 0 else "behind"
    return f"The clock is {duration(cause.offset_s)} {way}: {cause.reason}."


def duration(seconds: float) -> str:
    """Return a length of time in words, its sign left out.

    Examples
    --------
    >>> duration(-19818.0), duration(86_400.0), duration(172_800.0), duration(18.0)
    ('5 h 30 min 18 s', '1 day', '2 days', '18 s')
    """
    whole = round(abs(seconds))
    days, rest = divmod(whole, 86_400)
    hours, rest = divmod(rest, 3600)
    minutes, rest = divmod(rest, 60)
    parts = [f"{days} day{'s' if days > 1 else ''}"] if days else []
    for count, unit in ((hours, "h"), (minutes, "min"), (rest, "s")):
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts) or "0 s"
