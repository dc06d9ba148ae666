"""Propose a column map by looking at the file; a person confirms it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from lodewalk.errors import InputError, SettingsError
from lodewalk.formats.delimited.column_map import ColumnMap
from lodewalk.formats.delimited.encoding import decode
from lodewalk.formats.delimited.guess_layout import Layout, guess_layout
from lodewalk.formats.delimited.guess_times import guess_zone
from lodewalk.formats.delimited.guess_values import by_values, listed, time_settings
from lodewalk.formats.delimited.time_plan import time_plan
from lodewalk.formats.delimited.vocabulary import meaning
from lodewalk.formats.registry import HEAD_BYTES, check_text

TIME_NAMES = ("time", "date", "hour", "seconds_of_day")
NEEDED = {
    "base": ("field",),
    "rover": ("field",),
    "track": ("latitude", "longitude"),
    "notes": (),
    "older": ("field",),
}
UNWANTED = {
    "base": ("name", "text"),
    "rover": ("name", "text"),
    "track": ("field", "quality", "name", "text", "station"),
    "notes": ("field", "quality", "station"),
    "older": ("quality", "name", "text", "station", "line", "fix", "satellites", "hdop"),
}


@dataclass(frozen=True)
class Proposal:
    """A column map proposed for a file.

    Parameters
    ----------
    column_map : ColumnMap
        The map; its zone is None where the file does not carry one, and a person must say it.
    confidence : float
        How sure the map is, 0 to 1: the product of a factor for each doubt.
    reasons : tuple of str
        Why each part was chosen.
    doubts : tuple of str
        What may be wrong or is lacking.
    """

    column_map: ColumnMap
    confidence: float
    reasons: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass
class Findings:
    """Reasons and doubts as they are gathered."""

    reasons: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    confidence: float = 1.0

    def doubt(self, text: str, *, factor: float) -> None:
        """Add a doubt that lowers the confidence."""
        self.doubts.append(text)
        self.confidence *= factor


def recognise(head: bytes) -> float:
    r"""Return how sure it is, 0 to 0.5, that a file beginning with `head` is delimited text.

    Other formats are text in columns too, so it never outbids a format that is sure.

    Parameters
    ----------
    head : bytes
        Beginning of the file.

    Examples
    --------
    >>> recognise(b"time,field\n08:00:00,22950.1\n08:00:10,22950.3\n") > 0.3
    True
    """
    try:
        lines = decode(_even(head), file="").text.split("\n")
    except InputError:
        return 0.0
    layout = guess_layout(lines[:-1][:500] or lines, [])
    return 0.0 if layout is None else 0.5 * layout.share


def _even(head: bytes) -> bytes:
    """Return the bytes without a character cut in two at the end."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return head[: len(head) // 2 * 2]
    return head.rpartition(b"\n")[0] + b"\n" if b"\n" in head else head


def propose(path: Path, *, role: str) -> Proposal:
    r"""Propose a column map for a file.

    Parameters
    ----------
    path : path
        The raw file; its first and last 64 KiB are looked at.
    role : str
        "base", "rover", "track", "notes" or "older".

    Returns
    -------
    Proposal

    Raises
    ------
    InputError
        For an empty or binary file, or an unknown role.

    Examples
    --------
    >>> import tempfile
    >>> raw = Path(tempfile.mkdtemp(), "base.csv")
    >>> _ = raw.write_text("Time (UTC),Field (nT)\n2025-03-04T08:00:00,22950.1\n"
    ...                    "2025-03-04T08:00:10,22950.3\n")
    >>> proposal = propose(raw, role="base")
    >>> proposal.column_map.columns, proposal.column_map.time.zone
    ({'time': 'Time (UTC)', 'field': 'Field (nT)'}, 'UTC')
    """
    if role not in NEEDED:
        raise InputError(f"The role must be one of {', '.join(NEEDED)}.", file=path, value=role)
    first, last = _ends(path)
    layout = guess_layout(first, last)
    found = Findings()
    if layout is None:
        found.doubt(_why_none(first), factor=0.0)
        return Proposal(ColumnMap(), 0.0, (), tuple(found.doubts))
    _say_layout(layout, found)
    columns = _named_columns(layout, role, found)
    columns = by_values(layout, columns, role, found)
    settings = layout.column_map.to_dict()
    settings["columns"] = {ours: _reference(layout, place) for ours, place in columns.items()}
    settings["time"] = time_settings(layout, columns, settings["columns"], found)
    _say_zone(layout, columns, settings, found)
    settings["position"] = _position(layout, columns, found)
    _check_needs(columns, role, found)
    chosen = ColumnMap.from_dict(settings)
    _check_time(chosen, found)
    return Proposal(chosen, found.confidence, tuple(found.reasons), tuple(found.doubts))


def _why_none(lines: Sequence[str]) -> str:
    """Say why no layout was found."""
    if sum(1 for line in lines if line.strip()) == 1:
        return "The file holds one line only, no rows."
    return "No delimiter splits the lines into columns; give widths if they are fixed."


def _check_time(chosen: ColumnMap, found: Findings) -> None:
    """Doubt a map whose parts do not give a whole time."""
    try:
        time_plan(chosen)
    except SettingsError as error:
        found.doubt(error.rule, factor=0.5)


def _ends(path: Path) -> tuple[list[str], list[str]]:
    """Return whole lines from the beginning and from the end of a file."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
        check_text(head, file=path.name)
        utf16 = head.startswith((b"\xff\xfe", b"\xfe\xff"))
        tail = b""
        if size > 2 * HEAD_BYTES and not utf16:
            stream.seek(size - HEAD_BYTES)
            tail = stream.read().partition(b"\n")[2]
    whole = head if size <= HEAD_BYTES else _even(head)
    first = decode(whole, file=path.name).text.split("\n")
    last = decode(tail, file=path.name).text.split("\n") if tail else []
    return first[:1000], last[-1000:]


def _say_layout(layout: Layout, found: Findings) -> None:
    """Say how the lines are split."""
    chosen = layout.column_map
    found.reasons.append(
        f"{len(layout.rows)} rows looked at have {len(layout.rows[0])} columns, "
        f"delimiter {chosen.delimiter!r}, decimal sign {chosen.decimal!r}."
    )
    if layout.lost:
        found.doubt(
            f"The layout changes at line {layout.start + 1}: rows above it, from line "
            f"{layout.lost[0]} on, have other columns and would be lost.",
            factor=0.5,
        )
    elif layout.share < 1:
        found.doubt(
            f"{1 - layout.share:.0%} of the lines looked at have other columns.",
            factor=max(0.1, layout.share - 0.1),
        )
    if len(layout.rows) < 3:
        found.doubt("There are fewer than three rows to look at.", factor=0.8)


def _named_columns(layout: Layout, role: str, found: Findings) -> dict[str, int]:
    """Return the columns whose names have a known meaning."""
    columns: dict[str, int] = {}
    names = layout.names or ()
    rivals: dict[str, list[str]] = {}
    for place, name in enumerate(names):
        ours = meaning(name)
        if ours is None or ours in UNWANTED[role]:
            continue
        if ours in columns:
            rivals.setdefault(ours, [names[columns[ours]]]).append(name)
            continue
        columns[ours] = place
        found.reasons.append(f"'{name}' is {ours} by its name.")
    for ours, known in rivals.items():
        quoted = listed([f"'{name}'" for name in known])
        found.doubt(f"{quoted} can each be {ours}.", factor=0.8 ** (len(known) - 1))
    return columns


def _reference(layout: Layout, place: int) -> str | int:
    """Return the name of a column where it is the only one of that name, else its number."""
    names = [name.casefold() for name in layout.names or ()]
    if layout.names and names.count(names[place]) == 1 and names[place]:
        return layout.names[place]
    return place + 1


def _values(layout: Layout, place: int) -> list[str]:
    """Return the values of one column that are there."""
    return [fields[place] for fields in layout.rows if fields[place]]


def _say_zone(
    layout: Layout, columns: dict[str, int], settings: dict[str, Any], found: Findings
) -> None:
    """Set the zone if the file carries it."""
    places = [columns[name] for name in TIME_NAMES if name in columns]
    if not places:
        return
    names = [layout.names[place] for place in places] if layout.names else []
    values = _values(layout, columns["time"]) if "time" in columns else []
    zone = guess_zone(values, [*names, *layout.head.split("\n")])
    if settings["time"].get("format") == "unix":
        zone = ("UTC", "seconds since 1970 are UTC")
    if zone is None:
        found.doubts.append("The file does not say the time zone.")
        return
    settings["time"]["zone"] = zone[0]
    found.reasons.append(f"The time zone is {zone[0]}: {zone[1]}.")


def _position(layout: Layout, columns: dict[str, int], found: Findings) -> dict[str, str]:
    """Guess how angles are written."""
    if "easting" in columns and "latitude" not in columns:
        found.doubts.append("The file does not say the system of easting and northing.")
    if "latitude" not in columns:
        return {}
    values = [_plain(text) for text in _values(layout, columns["latitude"])]
    numbers = [abs(value) for value in values if value is not None]
    if numbers and max(numbers) > 90 and all(value % 100 < 60 for value in numbers):
        found.reasons.append("Latitudes above 90 are degrees and minutes, ddmm.mmm.")
        return {"angles": "ddmm.mmm"}
    return {}


def _plain(text: str) -> float | None:
    """Return the number in an angle, its letter left out."""
    try:
        return float(text.strip("NSEWnsew ").replace(",", "."))
    except ValueError:
        return None


def _check_needs(columns: dict[str, int], role: str, found: Findings) -> None:
    """Doubt a map that lacks what the role needs."""
    needed: Sequence[str] = NEEDED[role]
    if role == "track" and {"easting", "northing"} <= set(columns):
        needed = ()
    for name in needed:
        if name not in columns:
            found.doubt(f"No column looks like {name}.", factor=0.2)
    timed = any(name in columns for name in ("time", "hour", "seconds_of_day"))
    if role == "older" and not (
        {"latitude", "longitude"} <= {*columns} or {"easting", "northing"} <= {*columns}
    ):
        found.doubt("No columns look like a position.", factor=0.2)
    if role in ("base", "rover") and not timed:
        found.doubt("No column looks like a time.", factor=0.2)
    if role == "notes" and not {"name", "text", "latitude", "easting"} & set(columns):
        found.doubt("No column looks like a name, a note or a position.", factor=0.2)
