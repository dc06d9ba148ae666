"""The hours of daylight in which the field is usually calmest."""

from dataclasses import dataclass
from typing import Final

from lodewalk.validation import check_within

#: From this geomagnetic latitude on, disturbance of the night counts more than the daily variation.
AURORAL_DEG: Final = 60.0

#: Hours of local solar time, all common practice.
_USUAL: tuple[tuple[float, float], ...] = ((6.0, 9.0), (15.0, 18.0))
_JET: tuple[tuple[float, float], ...] = ((6.0, 8.0), (16.0, 18.0))
_AURORAL: tuple[tuple[float, float], ...] = ((9.0, 16.0),)


@dataclass(frozen=True)
class Hours:
    """A span of the day.

    Parameters
    ----------
    from_local_h, to_local_h : float
        Local solar time [h].
    from_utc, to_utc : str
        The same in UTC, as HH:MM.
    """

    from_local_h: float
    to_local_h: float
    from_utc: str
    to_utc: str


@dataclass(frozen=True)
class BestHours:
    """The calmest hours by day.

    Parameters
    ----------
    spans : tuple of Hours
        Earliest first.
    reason : str
        What they keep clear of.
    """

    spans: tuple[Hours, ...]
    reason: str


def best_hours(
    longitude_deg: float, *, geomagnetic_latitude_deg: float, electrojet: bool
) -> BestHours:
    """Return the hours of daylight in which the field is usually calmest.

    Parameters
    ----------
    longitude_deg : float
        Longitude [deg].
    geomagnetic_latitude_deg : float
        Geomagnetic latitude [deg].
    electrojet : bool
        Whether the place lies under the equatorial electrojet.

    Returns
    -------
    BestHours
        Common practice; the base's own record tells better after a day or two.

    Raises
    ------
    InputError
        For a latitude or longitude out of range.

    Examples
    --------
    >>> hours = best_hours(-60.0, geomagnetic_latitude_deg=5.0, electrojet=False)
    >>> [(span.from_utc, span.to_utc) for span in hours.spans]
    [('10:00', '13:00'), ('19:00', '22:00')]
    """
    check_within(longitude_deg, name="Longitude", low=-180, high=360, unit="degrees")
    check_within(
        geomagnetic_latitude_deg, name="Geomagnetic latitude", low=-90, high=90, unit="degrees"
    )
    if abs(geomagnetic_latitude_deg) >= AURORAL_DEG:
        spans = _AURORAL
        reason = "clear of the night's disturbance and of morning pulsations"
    elif electrojet:
        spans, reason = _JET, "clear of the equatorial electrojet about noon"
    else:
        spans, reason = _USUAL, "clear of the crest of the daily variation about noon"
    shift = -longitude_deg / 15.0
    return BestHours(
        tuple(Hours(a, b, _clock(a + shift), _clock(b + shift)) for a, b in spans), reason
    )


def _clock(hour: float) -> str:
    """Return an hour as HH:MM within a day, to the minute."""
    minutes = round(hour * 60.0) % 1440
    return f"{minutes // 60:02}:{minutes % 60:02}"
