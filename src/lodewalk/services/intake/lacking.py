"""What of a file isn't read, and what its role can't do without."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lodewalk.formats.delimited import ColumnMap
    from lodewalk.records import Table
    from lodewalk.services.intake.columns import FileColumn
    from lodewalk.services.intake.preview import FilePreview
    from lodewalk.survey.ledger import RawFile

NO_POSITION = (
    "No position is read: a track of its GPS must be added, or say which columns hold it. A record "
    "that was taken in one place is a base's: then choose that role."
)


def unread(columns: "Sequence[FileColumn]") -> list[str]:
    """Return the columns that nothing reads, by name or number; none that is empty throughout."""
    return [
        one.name or f"column {one.number}"
        for one in columns
        if one.meaning is None and any(one.values)
    ]


def lacking(
    table: "Table",
    column_map: "ColumnMap | None",
    about: "FilePreview",
    entries: "Sequence[RawFile]",
) -> list[str]:
    """Say what a file that can be read lacks for its role: a rover its positions."""
    placed = any(table.has(name) for name in ("latitude_deg", "easting_m"))
    on_pegs = column_map is not None and column_map.position.local_grid
    if about.role != "rover" or placed or on_pegs:
        return []
    tracked = {entry.instrument for entry in entries if entry.role == "track"}
    return [] if about.instrument in tracked else [NO_POSITION]
