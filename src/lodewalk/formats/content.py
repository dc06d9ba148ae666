"""What a reader hands back: one table of records and what was understood of the file."""

from dataclasses import dataclass, field

from lodewalk.records.table import Table


@dataclass(frozen=True)
class Content:
    """The content of one file.

    Parameters
    ----------
    table : Table
        `RecordedReadings`, `Track`, `Waypoints`, `Route` or `Observatory`.
    zone : str, optional
        Time zone or scale that the format itself fixes ("UTC", "GPS"); None where the user
        has to say it.
    understood : tuple of str
        Plain sentences: what the reader took the file to hold.
    place : tuple of two floats, optional
        Latitude and longitude of a fixed instrument, where the file tells them [deg].
    """

    table: Table
    zone: str | None = None
    understood: tuple[str, ...] = field(default=())
    place: tuple[float, float] | None = None
