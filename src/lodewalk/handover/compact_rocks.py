"""Compact bodies as the report and the handheld have them."""

from functools import partial
from typing import Any

import polars as pl

from lodewalk.figures.compact_window import draw_compact_window
from lodewalk.figures.section_body import interval
from lodewalk.figures.style import number
from lodewalk.handover.content import ReportFigure, Undrawn
from lodewalk.handover.pictures import picture
from lodewalk.handover.rocks_content import CompactRow, RockRecords

#: Share of the field from which an anomaly is called strong.
STRONG = 0.05


def _told(records: RockRecords) -> list[dict[str, Any]]:
    """Return the compact bodies that have numbers."""
    return records.compact.frame.filter(pl.col("problem").is_null()).to_dicts()


def compact_rows(records: RockRecords) -> tuple[CompactRow, ...]:
    """Return the table of compact bodies."""
    return tuple(
        CompactRow(
            row["body"],
            f"{number(row['easting_m'])} E {number(row['northing_m'])} N "
            f"± {number(1.645 * row['position_sd_m'], 1)} m",
            interval(row, "centre_depth", "m", 1),
            interval(row, "moment", "A_m2", 0).replace(" A_m2", ""),
            _direction(row),
            _remark(row),
        )
        for row in _told(records)
    )


def _direction(row: dict[str, Any]) -> str:
    """Return the direction of the magnetisation with its cone."""
    if row["inclination_deg"] is None:
        return "not told"
    return (
        f"inclination {number(row['inclination_deg'], 0)}°, declination "
        f"{number(row['declination_deg'], 0)}°, ± {number(row['cone_deg'], 0)}°"
    )


def _remark(row: dict[str, Any]) -> str:
    """Return what the direction says, and that an anomaly is strong."""
    share = row["anomaly_share"]
    if share is None or share <= STRONG:
        return str(row["direction"])
    return (
        f"{row['direction']} Its anomaly is {number(100.0 * share)} % of the field: so strong a "
        "magnetisation is turned by the body's own shape."
    )


def without_compact(records: RockRecords) -> tuple[str, ...]:
    """Return the places without a compact body, with the reason."""
    rows = records.compact.frame.filter(pl.col("problem").is_not_null())
    return tuple(f"{row['body']}: {row['problem']}" for row in rows.iter_rows(named=True))


def compact_figures(records: RockRecords, *, most: int) -> list[ReportFigure | Undrawn]:
    """Return the window of each compact body: readings, model, and what is left over."""
    figures = []
    for nth, row in enumerate(_told(records)[:most]):
        caption = (
            "The readings of the window, what the body with level and slopes makes at them, and "
            "what is left over, in one and the same colours. The cross is the centre of the body, "
            "its circle the depth of the centre: readings beyond it part the body "
            "from what lies around it."
            if not nth
            else "Read as the first of its kind above."
        )
        depth = interval(row, "centre_depth", "m", 1)
        alt = f"Window of the compact body {row['body']}: centre {depth} below ground."
        draw = partial(draw_compact_window, records.compact, records.compact_curves,
                       body=row["body"])  # fmt: skip
        figures.append(picture("compact", f"Compact body {row['body']}", caption, alt, draw))
    return figures


def compact_targets(records: RockRecords) -> list[tuple[str, float, float, str]]:
    """Return name, easting, northing and text of a place to go to for each compact body."""
    return [
        (
            row["body"],
            row["easting_m"],
            row["northing_m"],
            f"compact body: centre {interval(row, 'centre_depth', 'm', 1)} below ground, 90 % "
            f"interval, its top higher; place ± {number(1.645 * row['position_sd_m'], 1)} m. Look "
            "for steel first.",
        )
        for row in _told(records)
    ]
