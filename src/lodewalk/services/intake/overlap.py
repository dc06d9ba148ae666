"""What is odd about the times of a file: its zone for the place, or no record beside it."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from lodewalk.adapters.projection import area_of_use
from lodewalk.errors import LodewalkError
from lodewalk.services.intake.spans import NOT_ONE_ZONE, Span, held_span
from lodewalk.zones import clock_of

if TYPE_CHECKING:
    from lodewalk.services.intake.preview import FilePreview
    from lodewalk.survey.folder import Folder
    from lodewalk.survey.ledger import RawFile

#: Whose records a file has to overlap, so that readings can be corrected.
OTHER = {"base": "rover", "rover": "base"}
#: Records farther apart than this are of other days, whose partner may still come [h].
SAME_DAY_H = 12.0
#: No clock on the wall is farther than this from the sun [h].
ODD_ZONE_H = 4.0
#: A system that serves more than this tells nothing of the hour [deg].
WIDEST_DEG = 20.0


def time_doubts(folder: "Folder", about: "FilePreview", entries: "Sequence[RawFile]") -> list[str]:
    """Say what is odd about the times of a file that can be read; a person may know better."""
    if about.span is None or about.zone is None:
        return []
    said = [_odd_zone(about.zone, about.span, folder.settings.survey.crs)]
    if about.role in OTHER:
        said.append(_alone(folder, about, entries))
    return [text for text in said if text]


def _odd_zone(zone: str, span: Span, crs: str) -> str:
    """Say that clocks of a zone are far from the sun where the survey lies; empty if not."""
    try:
        west, _, east, _ = area_of_use(crs)
    except LodewalkError:
        return ""
    if zone in NOT_ONE_ZONE or not 0 <= east - west <= WIDEST_DEG:
        return ""
    middle = (west + east) / 2
    ahead = _hours_ahead(zone, span)
    if abs((ahead - middle / 15 + 12) % 24 - 12) <= ODD_ZONE_H:
        return ""
    return (
        f"Times in {zone} are odd here: where {crs} serves, the sun's time is about "
        f"{middle / 15:+.0f} h from UTC. Is the sign of the zone right?"
    )


def _hours_ahead(zone: str, span: Span) -> float:
    """Return how far a zone is ahead of UTC when a record begins [h]."""
    offset = _time(span.start_utc).astimezone(clock_of(zone)).utcoffset() or timedelta()
    return offset.total_seconds() / 3600


def _alone(folder: "Folder", about: "FilePreview", entries: "Sequence[RawFile]") -> str:
    """Say that no record of the other role overlaps a file, though one is near; empty if not."""
    other = OTHER[about.role]
    found = [
        (entry, span)
        for entry in entries
        if entry.role == other and (span := held_span(folder, entry, ""))
    ]
    if about.span is None or not found:
        return ""
    entry, span = min(found, key=lambda pair: _hours_apart(about.span, pair[1]))
    if not 0 < _hours_apart(about.span, span) <= SAME_DAY_H:
        return ""
    return (
        f"It overlaps no record of a {other}: {entry.instrument} ({entry.original_name}) lasts "
        f"from {_shown(span.start_utc)} to {_shown(span.end_utc)} UTC, this one from "
        f"{_shown(about.span.start_utc)} to {_shown(about.span.end_utc)}. Is the time zone right, "
        "of this one or of that?"
    )


def _hours_apart(one: Span | None, other: Span) -> float:
    """Return how far two records lie apart; 0 or less where they overlap [h]."""
    if one is None:
        return 0.0
    gaps = (
        _time(other.start_utc) - _time(one.end_utc),
        _time(one.start_utc) - _time(other.end_utc),
    )
    return max(gaps).total_seconds() / 3600


def _time(text: str) -> datetime:
    """Return a time in UTC."""
    return datetime.fromisoformat(text).astimezone(UTC)


def _shown(text: str) -> str:
    """Return a time as pages show it."""
    return text[:16].replace("T", " ")
