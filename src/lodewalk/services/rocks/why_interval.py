"""What the interval of a depth holds: that of the calibrated answer, and the error of places."""

from typing import Any

import numpy as np
import polars as pl

from lodewalk.services.rocks.depth import ANSWER
from lodewalk.services.rocks.rows import angle_digits, frame_of, interval, notes_of, number
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path


def answer_interval(folder: Folder, pick: str, sensor_sd_m: float) -> list[str]:
    """Say what the interval of a pick's calibrated depth holds; nothing where there is none."""
    if not product_path(folder, "depths").exists():
        return []
    told = frame_of(folder, "depths").filter(
        (pl.col("pick") == pick) & (pl.col("method") == ANSWER) & pl.col("depth_m").is_not_null()
    )
    note = notes_of(folder, "depth_notes")["picks"].get(pick)
    if not told.height or note is None:
        return []
    kinds = ", ".join(note["kinds_below_sensor_m"])
    apart = note["disagreement"]
    rules = "" if apart is None else f" (they lie apart by {apart:.1f} of its standard deviations)"
    return [
        "This depth is the calibrated answer. Its interval holds the fit's noise below, the kinds "
        f"that remain ({kinds or 'none fitted: the methods alone'}), a factor that trials gave, "
        f"the disagreement of the methods where it is large{rules}, and {sensor_sd_m:g} m of the "
        "sensor's height."
    ]


def _off(profile: pl.DataFrame) -> str:
    """Return how far a reading stands from its place."""
    if "place_sd_m" not in profile.columns:
        return ""
    sd = profile["place_sd_m"].drop_nulls().to_numpy()
    return f"{number(float(np.median(sd)), 1)} m (one sd) " if sd.size else ""


def place_error(profile: pl.DataFrame, noise: dict[str, Any]) -> list[str]:
    """Say what the error of the places is in nanotesla, and whether it is the largest.

    `profile` holds the readings of one pick, `noise` what its fit found.
    """
    if "place_nT" not in profile.columns:
        return []
    errors = np.abs(profile["place_nT"].fill_null(0.0).to_numpy())
    most = float(errors.max(initial=0.0))
    if not most > 0.0:
        return []
    place, own = (
        float(np.sqrt(np.mean(values**2))) for values in (errors, profile["sd_nT"].to_numpy())
    )
    others = own * noise["scale"], noise["correlated_nT"]
    largest = ", the largest of them" if place > max(others) else ""
    return [
        f"It holds the error of the places too: a reading that stands {_off(profile)}from its "
        f"place on a steep anomaly is off by {number(place, 2)} nT (rms; at most "
        f"{number(most, 2)} nT), beside {number(others[0], 2)} nT of the "
        f"readings' own{largest}."
    ]


def dip_lines(folder: Folder, name: str) -> list[str]:
    """Say what is told of the dip of a body, and what dips at outcrops say of it."""
    if not product_path(folder, "dips").exists():
        return []
    own = frame_of(folder, "dips").filter(pl.col("body") == name)
    if not own.height:
        return []
    row = own.row(0, named=True)
    if row["dip_deg"] is None:
        return [row["dip_words"]]
    digits = angle_digits(row["dip_low_deg"], row["dip_high_deg"])
    dip = interval(row["dip_deg"], row["dip_low_deg"], row["dip_high_deg"], digits=digits)
    reach = f"{number(row['dip_range_low_deg'], 0)} to {number(row['dip_range_high_deg'], 0)}"
    return [
        f"Its dip is {dip} degrees to the right of the strike (90 % interval), under remanence "
        f"{reach}. {row['dip_words']}"
    ]
