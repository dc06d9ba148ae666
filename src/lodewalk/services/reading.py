"""What adding and judging files have in common: is it there, which columns, which zone."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lodewalk.errors import InputError, LodewalkError
from lodewalk.formats.registry import Format
from lodewalk.zones import checked_zone

if TYPE_CHECKING:
    from lodewalk.formats.content import Content
    from lodewalk.formats.delimited import ColumnMap

SURE = 0.8


def check_file(path: Path) -> None:
    """Raise when there is no file to read at a path."""
    if not path.is_file():
        rule = "This is no file." if path.exists() else "There is no such file."
        raise InputError(rule, file=path, remedy="Give the files themselves, each by its path.")


def column_map_of(
    path: Path,
    form: Format,
    *,
    role: str,
    columns: Path | None = None,
    kept: Mapping[str, Any] | None = None,
    zone: str | None = None,
) -> "tuple[ColumnMap | None, tuple[str, ...]]":
    """Return the column map of delimited text, with what was assumed.

    It is the one given in a file, else the one `kept` from before, with the `zone` that is said
    now, else a proposed one.

    Raises
    ------
    InputError
        When no map is given and the file leaves doubt.
    """
    if form.name != "delimited":
        return None, ()
    from lodewalk.formats.delimited import ColumnMap, propose

    if columns:
        return ColumnMap.from_toml(columns), ()
    if kept:
        return ColumnMap.from_dict(with_zone(kept, zone, path, role=role)), ()
    proposal = propose(path, role=role)
    if proposal.confidence < SURE:
        raise InputError(
            f"The columns can't be told for sure ({proposal.confidence:.0%}): "
            f"{' '.join(proposal.doubts) or 'Too little is known.'}",
            file=path.name,
            remedy="Write a column map (lodewalk add DIR FILE --role "
            f"{role} --propose MAP.toml makes a draft) and give it with --columns.",
        )
    sure = f"columns recognised by themselves, {proposal.confidence:.0%} sure"
    return proposal.column_map, (sure, *proposal.reasons)


def with_zone(
    values: Mapping[str, Any], zone: str | None, path: Path, *, role: str
) -> dict[str, Any]:
    """Return a column map from before with the zone that is said now.

    A zone in such a map may be the word of a person, who can put it right; where the file itself
    tells it, it stays, and another one is refused later.
    """
    from lodewalk.formats.delimited import propose

    time = dict(values.get("time") or {})
    told = time.get("zone")
    if not zone or not told or told == zone:
        return dict(values)
    try:
        own = propose(path, role=role).column_map.time.zone
    except LodewalkError:
        own = None
    return dict(values) if own == told else {**values, "time": {**time, "zone": zone}}


#: Coordinates that tell a place only together.
PAIRS = (("latitude", "longitude"), ("easting", "northing"))


def check_pairs(column_map: "ColumnMap | None", file: str) -> None:
    """Raise when one coordinate is read without its other, so that no place comes of it."""
    columns = column_map.columns if column_map is not None else {}
    for pair in PAIRS:
        for here, lacking in (pair, pair[::-1]):
            if here in columns and lacking not in columns:
                raise InputError(
                    f"columns.{here} stands without columns.{lacking}: a position has both.",
                    file=file,
                    value=f"column {columns[here]}",
                    remedy=f"Say which column is the {lacking}, or leave the {here} out.",
                )


def zone_of(content: "Content", *, given: str | None, fallback: str = "", file: str) -> str:
    """Return the zone of the recorded times; the file's own word comes first.

    Raises
    ------
    InputError
        When nobody says the zone, or the file contradicts the one given.
    """
    if content.zone and given and content.zone != given:
        raise InputError(
            f"The file's times are {content.zone}, but the time zone given is {given}.",
            file=file,
            remedy="Leave the time zone out, or mend the column map.",
        )
    zone = content.zone or given or fallback
    if not zone:
        raise InputError(
            "The file doesn't say the time zone of its times.",
            file=file,
            remedy="Give the time zone: UTC, GPS, an offset such as +03:00, or an IANA name.",
            means=("time-zone",),
        )
    return checked_zone(zone, key=None)
