"""Field days: by the survey's own time zone, so that none is cut in two at midnight UTC."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from lodewalk.records import Record
from lodewalk.steps.rows import table


@dataclass(frozen=True)
class Days:
    """Tells which field day a time belongs to."""

    zone: tzinfo

    @classmethod
    def of(cls, zone: str, inputs: Mapping[str, Record]) -> "Days":
        """Return days by the survey's zone; without one, by the nearest hour of its longitude."""
        if zone and zone not in ("UTC", "GPS"):
            return cls(_fixed(zone) if zone[0] in "+-" else ZoneInfo(zone))
        if zone:
            return cls(UTC)
        longitude = table(inputs, "rover_positions").floats("longitude_deg")
        known = longitude[np.isfinite(longitude)]
        hours = round(float(np.median(known)) / 15.0) if known.size else 0
        return cls(timezone(timedelta(hours=hours)))

    def name(self, seconds: float) -> str:
        """Return the date of a Unix time, YYYY-MM-DD.

        Examples
        --------
        >>> Days(timezone(timedelta(hours=10))).name(15.0 * 3600)
        '1970-01-02'
        """
        return datetime.fromtimestamp(float(seconds), self.zone).strftime("%Y-%m-%d")

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
