"""Why a compact body is what it is."""

from typing import Any

import polars as pl

from lodewalk.services.rocks.rows import frame_of, interval, number
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path


def compact_row(folder: Folder, name: str) -> dict[str, Any] | None:
    """Return the row of a compact body; None where no place of this name was looked at."""
    if not product_path(folder, "compact_bodies").exists():
        return None
    own = frame_of(folder, "compact_bodies").filter(pl.col("body") == name)
    return own.row(0, named=True) if own.height else None


def compact_words(row: dict[str, Any]) -> list[str]:
    """Return what a compact body rests on, in sentences.

    Parameters
    ----------
    row : dict
        Its row of the table of compact bodies.
    """
    where = f"easting {number(row['easting_m'])} m, northing {number(row['northing_m'])} m"
    if row["problem"] is not None:
        return [f"No compact body is told at {where}: {row['problem']}"]
    depth = interval(row["centre_depth_m"], row["centre_depth_low_m"], row["centre_depth_high_m"])
    moment = interval(row["moment_A_m2"], row["moment_low_A_m2"], row["moment_high_A_m2"], digits=0)
    direction = row["direction"]
    if row["inclination_deg"] is not None:
        direction = (
            f"Its magnetisation has inclination {number(row['inclination_deg'], 0)} and "
            f"declination {number(row['declination_deg'], 0)} degrees from true north, in a cone "
            f"of ± {number(row['cone_deg'], 0)} degrees. {direction}"
        )
    return [
        f"As a compact body at {where}: depth of its centre below ground {depth} m, moment "
        f"{moment} A m²; its top lies higher and isn't told.",
        direction,
        f"It rests on {row['readings']} readings within {number(row['reach_m'], 0)} m, misfit "
        f"{number(row['misfit'], 2)} (1 is all noise). Its interval holds the readings' noise, "
        "what lines share (base, heading, levelling), the error of places, and that its shape "
        "isn't known.",
    ]


def compact_readings(folder: Folder, name: str) -> pl.DataFrame:
    """Return the readings under a compact body, with file and line in it."""
    own = frame_of(folder, "compact_curves").filter(pl.col("body") == name)
    files = frame_of(folder, "readings").select("reading_id", "file", "line_in_file")
    return own.join(files, on="reading_id", how="left", maintain_order="left")
