"""A short path through a survey: things to see, each with what to look at, from what is there.

Nothing is named that the survey doesn't hold; where the truth lies beside it, as in a demo, it is
told with the answer.
"""

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from math import hypot
from typing import Any

from lodewalk.errors import LodewalkError
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

#: The method under which the calibrated depth stands.
ANSWER = "answer"
#: A depth belongs to a true crossing of its line that is no farther than this [m].
NEAR_M = 15.0


@dataclass(frozen=True)
class Stop:
    """One thing to see: its room, what is selected there, what is seen and what to try."""

    name: str
    room: str
    title: str
    seen: str
    todo: str
    selection: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class TourResult:
    """The stops in their order; none before the first run."""

    stops: list[Stop]


def tour(folder: Folder) -> TourResult:
    """Return the path through a survey.

    Parameters
    ----------
    folder : Folder
        The survey, best one that has been run.

    Returns
    -------
    TourResult
        Only stops for which the survey has something to show.
    """
    if not product_path(folder, "check").exists():
        return TourResult([])
    makers: tuple[Callable[[Folder], Stop | None], ...] = (
        _place, _plan, _worst_day, _clock, _reading, _error, _depth, _package,
    )  # fmt: skip
    return TourResult([stop for make in makers if (stop := _tried(make, folder))])


def _tried(make: Callable[[Folder], Stop | None], folder: Folder) -> Stop | None:
    """Return a stop, or None where what it shows is missing or can't be read."""
    try:
        return make(folder)
    except (LodewalkError, OSError, ValueError, KeyError):
        return None


def _check(folder: Folder) -> dict[str, Any]:
    """Return the document of the last check."""
    found: dict[str, Any] = json.loads(product_path(folder, "check").read_text(encoding="utf-8"))
    return found


def _place(_: Folder) -> Stop:
    return Stop(
        "place", "site", "The field of the place",
        "Here stand the Earth's field, the tuning for a proton instrument, and whether the rocks' "
        "contrast will show. All of it is known before anyone goes.",
        "Change the depth or the contrast of what you seek, and see the odds follow.",
    )  # fmt: skip


def _plan(folder: Folder) -> Stop:
    from lodewalk.services.before_going.held_lines import held_lines
    from lodewalk.services.before_going.known import tells_magnetic

    count = len(held_lines(folder))
    many = (
        "line that this survey planned is" if count == 1 else "lines that this survey planned are"
    )
    held = f" The {count} {many} drawn in grey." if count else ""
    odds, follow = (
        (" and the odds of finding what you seek", "effort and odds follow")
        if tells_magnetic(folder)
        else ("", "the effort follows. Odds come once room Site has the rock that you seek")
    )
    return Stop(
        "plan", "plan", "The lines, and what they cost",
        "Here an area becomes lines, tie lines and waypoints, with the days of walking that they "
        f"take{odds}.{held}",
        f"Draw an area by its corners, then change the line spacing: {follow}.",
    )  # fmt: skip


def _worst_day(folder: Folder) -> Stop | None:
    days = [day for day in _check(folder)["days"] if day["base"]["worst_chord_nT"] is not None]
    if not days:
        return None
    day = max(days, key=lambda item: item["base"]["worst_chord_nT"])
    lines = sorted(day["lines"], key=lambda line: _RANK.get(line["verdict"], 3))
    worst = lines[0] if lines else None
    base = day["base"]
    seen = (
        f"On {day['date']} the base strayed {base['worst_chord_nT']:.1f} nT from a straight line "
        f"between its readings, over a range of {base['range_nT']:.0f} nT."
    )
    if worst and worst["reasons"]:
        verdict = worst["verdict"].replace("re-walk", "walk again")
        seen += f" Line {worst['line']} got the verdict “{verdict}”: {worst['reasons'][0]}."
    return Stop(
        "day", "days", "The most restless day, and its verdict", seen,
        "Choose another line in the table: map, profile and base record show it at once.",
        {"day": day["date"]} | ({"line": worst["line"]} if worst else {}),
    )  # fmt: skip


_RANK = {"re-walk": 0, "doubt": 1, "keep": 2}


def _clock(folder: Folder) -> Stop | None:
    proven = [row for row in _check(folder)["clock"] if row["offset_s"] is not None]
    if not proven:
        return None
    row = max(proven, key=lambda item: abs(item["offset_s"]))
    decided = row["decided_s"]
    seen = f"{row['text']} Found from: {row['method']}."
    if decided is not None:
        seen += f" A person decided {decided:+g} s, with a reason; it can be taken back."
    return Stop(
        "clock", "days", "A clock and its evidence", seen,
        "Look at the clocks and the decisions below them: what would run again is told first.",
        {"day": row["days"][0]["day"]} if row["days"] else {},
    )  # fmt: skip


def _reading(folder: Folder) -> Stop | None:
    import polars as pl

    frame = pl.read_parquet(
        product_path(folder, "readings"),
        columns=["reading_id", "line", "anomaly_nT", "sd_nT", "kept"],
    ).filter(pl.col("kept") & (pl.col("sd_nT") > 0) & pl.col("line").is_not_null())
    if not frame.height:
        return None
    strength = pl.col("anomaly_nT").abs() / pl.col("sd_nT")
    row = frame.sort(strength, "reading_id", descending=True).row(0, named=True)
    return Stop(
        "reading", "map", "The story of a value",
        f"This reading of line {row['line']} has an anomaly of {row['anomaly_nT']:.1f} nT with a "
        f"standard deviation of {row['sd_nT']:.2f} nT. Its story goes back to the raw file and "
        "the line in it.",
        "Click any other reading on the map or on the profile, and read how it got its value.",
        {"line": str(row["line"]), "reading": str(row["reading_id"])},
    )  # fmt: skip


def _error(folder: Folder) -> Stop | None:
    from lodewalk.services.curves.grids import grid_values, grids

    errors = [grid for grid in grids(folder).grids if grid.error_of]
    if not errors:
        return None
    about = grid_values(folder, errors[0].name).about
    return Stop(
        "error", "map", "How far the map may be off",
        f"This is the standard error of the map: from {about['low']:.1f} to "
        f"{about['high']:.1f} {errors[0].unit}. It grows between the lines and where readings "
        "were dropped.",
        "Change to the anomaly and back: which of its shapes are larger than their error?",
        {"grid": errors[0].name},
    )  # fmt: skip


def _depth(folder: Folder) -> Stop | None:
    rows = _told_depths(folder)
    if not rows:
        return None
    known = _crossings(folder)
    pairs = [(row, true) for row in rows if (true := _truth(known, row)) is not None]
    # Chosen by what the survey says of itself, never by the truth.
    decided = [row for row in rows if row["decidable"]]
    row = min(decided or rows, key=lambda row: (_looseness(row), row["pick"]))
    among = "of the bodies whose kind is decided" if decided else "of all"
    seen = (
        f"Under pick {row['pick']} lies a {row['kind']}: its top is {row['depth_m']:.1f} m below "
        f"ground, {row['depth_low_m']:.1f} to {row['depth_high_m']:.1f} m (90 %), by the "
        f"calibrated depth, which is the one to use. It is the most certain one {among}."
    )
    if pairs:
        held = sum(one["depth_low_m"] <= true <= one["depth_high_m"] for one, true in pairs)
        own = _truth(known, row)
        here = "" if own is None else f" The demo's truth is {own:.1f} m here."
        seen += (
            f"{here} Of {len(pairs)} calibrated depths beside a true dyke, {held} intervals hold "
            "the demo's truth."
        )
    return Stop(
        "depth", "rocks", "How deep, and how sure", seen,
        "Step to the next pick, and compare the width of the intervals.",
        {"pick": str(row["pick"])},
    )  # fmt: skip


def _told_depths(folder: Folder) -> list[dict[str, Any]]:
    """Return the calibrated depths under which a body was fitted, with its kind."""
    import polars as pl

    bodies = pl.read_parquet(product_path(folder, "bodies"), columns=["pick", "kind", "decidable"])
    depths = pl.read_parquet(product_path(folder, "depths")).filter(
        (pl.col("method") == ANSWER)
        & (pl.col("depth_m") > 0)
        & pl.col("depth_low_m").is_finite()
        & pl.col("depth_high_m").is_finite()
    )
    return list(depths.join(bodies, on="pick", maintain_order="left").iter_rows(named=True))


def _looseness(row: dict[str, Any]) -> float:
    """Return how wide the interval of a depth is, as a share of the depth."""
    return float((row["depth_high_m"] - row["depth_low_m"]) / row["depth_m"])


def _crossings(folder: Folder) -> list[dict[str, str]]:
    """Return where lines truly cross dykes, as a demo wrote it; nothing without a truth."""
    file = folder.path / "truth" / "dyke_crossings.csv"
    if not file.is_file():
        return []
    with file.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def _truth(known: list[dict[str, str]], row: dict[str, Any]) -> float | None:
    """Return the true depth of the dyke that a pick's line crosses beside the pick [m]."""
    line = str(row["pick"]).rpartition("-")[2]
    near = [
        (hypot(float(true["easting_m"]) - row["easting_m"],
               float(true["northing_m"]) - row["northing_m"]),
         float(true["depth_below_ground_m"]))
        for true in known if true["line"] == line
    ]  # fmt: skip
    away, depth = min(near, default=(NEAR_M + 1.0, 0.0))
    return depth if away <= NEAR_M else None


def _package(_: Folder) -> Stop:
    return Stop(
        "package", "handover", "What another person can check",
        "Report, maps and data go into one package with raw files, settings and decisions. Who "
        "gets it can build everything anew and compare.",
        "Make the package and verify it: the grade that it meets is told.",
    )  # fmt: skip
