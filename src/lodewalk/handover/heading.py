"""The heading error in the report: a row for each rover, and the figure."""

from dataclasses import dataclass
from typing import Any

from lodewalk.figures.heading_error import NINETY, draw_heading_error
from lodewalk.figures.save import png_bytes
from lodewalk.figures.style import number
from lodewalk.handover.content import HeadingRow, ReportFigure
from lodewalk.records.document import Document

DPI = 160.0
#: Kind of evidence, and what one piece of it is called.
KINDS = (
    ("turn", "stands of turn-around tests"),
    ("crossing", "crossings"),
    ("neighbour", "lines between neighbours"),
)


@dataclass(frozen=True)
class HeadingPart:
    """What the report says of heading errors: one sentence, the rows, and the figure."""

    text: str = ""
    rows: tuple[HeadingRow, ...] = ()
    figures: tuple[ReportFigure, ...] = ()


def heading_part(found: Document | None, *, with_figures: bool) -> HeadingPart:
    """Return what the report says of the heading error.

    Examples
    --------
    >>> heading_part(None, with_figures=True).rows
    ()
    """
    if found is None or not found["rovers"]:
        return HeadingPart()
    rows = tuple(_row(rover) for rover in found["rovers"])
    text = (
        "Taken off for the way in which the operator faces, against the mean over the lines, with "
        "its 90 % interval. Only differences between headings matter."
    )
    if not found["applied"]:
        text = "The heading correction is turned off. " + (
            "Nothing is taken off; the intervals below are what is expected of any gear."
        )
    return HeadingPart(text, rows, (_figure(found),) if with_figures else ())


def _row(rover: dict[str, Any]) -> HeadingRow:
    """Return one rover's error at eight headings, and what tells it."""
    cells = tuple(
        f"{number(row['correction_nT'], 1)} ± {number(NINETY * row['sd_nT'], 1)}"
        for row in rover["headings"]
    )
    counts = [(rover["evidence"][kind], words) for kind, words in KINDS]
    told = ", ".join(f"{count} {words}" for count, words in counts if count)
    return HeadingRow(rover["instrument"], cells, told or "nothing")


def _figure(found: Document) -> ReportFigure:
    """Return the figure with its words."""
    names = " and ".join(rover["instrument"] for rover in found["rovers"])
    return ReportFigure(
        "heading",
        "Heading error against heading",
        "The curve is what is taken off, its band the 90 % interval, points the stands of "
        "turn-around tests. Crossings and neighbouring lines have a part in it but no point, since "
        "each tells a difference.",
        f"Curves of the heading error of {names} from 0 to 360 degrees with their bands.",
        png_bytes(draw_heading_error(found), dpi=DPI),
    )
