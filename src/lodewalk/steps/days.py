"""Field days: by the survey's own time zone, so that none is cut in two at midnight UTC."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Days:
    """Tells which field day a time belongs to."""

    zone: tzinfo

    @classmethod
    def of(cls, zone: str) -> "Days":
        """Return days by the survey's zone; without one, and in GPS time, by UTC.

        Examples
        --------
        >>> Days.of("+10:00").label(0.0), Days.of("").label(0.0)
        ('UTC+10:00', 'UTC')
        """
        if zone in ("", "UTC", "GPS"):
            return cls(UTC)
        return cls(_fixed(zone) if zone[0] in "+-" else ZoneInfo(zone))

    def name(self, seconds: float) -> str:
        """Return the date of a Unix time, YYYY-MM-DD.

        Examples
        --------
        >>> Days(timezone(timedelta(hours=10))).name(15.0 * 3600)
        '1970-01-02'
        """
        return datetime.fromtimestamp(float(seconds), self.zone).strftime("%Y-%m-%d")

    def each(self, seconds: NDArray[np.float64]) -> NDArray[np.object_]:
        """Return the date of each Unix time; zones differ by quarters of an hour.

        Examples
        --------
        >>> Days(UTC).each(np.array([0.0, 90_000.0])).tolist()
        ['1970-01-01', '1970-01-02']
        """
        quarter, place = np.unique(seconds // 900, return_inverse=True)
        names = np.array([self.name(part * 900.0) for part in quarter], dtype=object)
        return np.asarray(names[place])

    def names(self, seconds: NDArray[np.float64]) -> list[str]:
        """Return the dates that some Unix times lie on, in order.

        Examples
        --------
        >>> Days(UTC).names(np.array([0.0, 90_000.0, 10.0]))
        ['1970-01-01', '1970-01-02']
        """
        return sorted(set(self.each(seconds).tolist()))

    def name_of(self, stamp: str) -> str:
        """Return the date of a time in ISO 8601.

        Examples
        --------
        >>> Days(UTC).name_of("2026-03-10T12:00:00Z")
        '2026-03-10'
        """
        return self.name(datetime.fromisoformat(stamp).timestamp())

    def bounds(self, day: str) -> tuple[float, float]:
        """Return begin and end of a day in Unix seconds."""
        start = datetime.fromisoformat(day).replace(tzinfo=self.zone)
        return start.timestamp(), (start + timedelta(days=1)).timestamp()

    def label(self, seconds: float) -> str:
        """Return how far the day's zone is ahead of UTC at a time, such as ``UTC-03:00``."""
        offset = datetime.fromtimestamp(float(seconds), self.zone).strftime("%z")
        return "UTC" if offset == "+0000" else f"UTC{offset[:3]}:{offset[3:5]}"


def _fixed(text: str) -> tzinfo:
    """Return the zone of an offset such as ``-03:00``."""
    sign = -1 if text[0] == "-" else 1
    hours, minutes = text[1:].split(":")
    return timezone(sign * timedelta(hours=int(hours), minutes=int(minutes)))
