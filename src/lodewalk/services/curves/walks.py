"""Where readings were taken: all passages of all lines, in metres from the survey's corner."""

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.services.curves.columns import Columns, codes, frame_of, made, seconds, small, utc
from lodewalk.services.curves.kept import kept
from lodewalk.services.curves.one_axis import one_axis
from lodewalk.services.one_run import check_one_run
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path, read_product

#: Products that the places and values of readings are in.
PRODUCTS = ("readings", "rover_lines")


def walks(folder: Folder) -> Columns:
    """Return all rover readings that have a position, passage after passage, in order of time.

    Returns
    -------
    Columns
        ``easting_m``, ``northing_m`` from the origin in `about`, ``anomaly_nT``, ``sd_nT`` in 32
        bits; ``kept``, 0 or 1; ``row`` of the reading; ``time_s`` since ``about["start_s"]``.
        `about` has origin and CRS, and of each passage line, instrument, day, times, first place
        and count, how many readings are kept in the end and how many are left out for each reason
        (`left_out`), the middle of its noise envelope, verdict and reasons. Readings after the
        last passage's are between lines.
        ``lost`` tells why readings aren't kept: how many, of which lines, and when.

    Raises
    ------
    FolderError
        Before the first run, or where the last one didn't come to the readings.
    """
    for product in PRODUCTS:
        made(folder, product)
    found = kept(folder, "walks", (*PRODUCTS, "lines", "check"), lambda: _walks(folder))
    return Columns({**found.about, "crs": folder.settings.survey.crs}, found.values)


def _walks(folder: Folder) -> Columns:
    """Return the walks as read from the products."""
    frame = _placed(folder)
    passages = _passages(folder, frame)
    east, north = (_corner(frame[name]) for name in ("easting_m", "northing_m"))
    times = seconds(frame["time_utc"])
    start = float(np.floor(np.nanmin(times))) if np.isfinite(times).any() else 0.0
    return Columns(
        {
            "origin_easting_m": east,
            "origin_northing_m": north,
            "start_s": start,
            "passages": passages,
            "lost": why_lost(frame),
        },
        {
            "easting_m": small(frame["easting_m"], east),
            "northing_m": small(frame["northing_m"], north),
            "anomaly_nT": small(frame["anomaly_nT"]),
            "sd_nT": small(frame["sd_nT"]),
            "time_s": (times - start).astype(np.float32),
            "kept": frame["kept"].cast(pl.UInt8).to_numpy(),
            "row": frame["row"].cast(pl.Int32).to_numpy(),
        },
    )


def why_lost(frame: pl.DataFrame) -> list[dict[str, Any]]:
    """Return why readings aren't kept, the commonest first.

    Parameters
    ----------
    frame : polars.DataFrame
        Readings with ``kept``, ``reason``, ``line`` and ``time_utc``.

    Returns
    -------
    list of dict
        ``reason``, how many ``readings``, of which ``lines``, and the first and last time.
    """
    gone = frame.filter(~pl.col("kept"), pl.col("reason").is_not_null())
    found = gone.group_by("reason").agg(
        readings=pl.len(),
        lines=pl.col("line").drop_nulls().unique().sort(),
        start=pl.col("time_utc").min(),
        end=pl.col("time_utc").max(),
    )
    rows = found.sort("readings", "reason", descending=[True, False]).iter_rows(named=True)
    return [
        {
            "reason": row["reason"],
            "readings": row["readings"],
            "lines": row["lines"],
            "start_utc": utc(row["start"]),
            "end_utc": utc(row["end"]),
        }
        for row in rows
    ]


def _corner(values: pl.Series) -> float:
    """Return the least value, down to whole metres; 0 where there is none."""
    return float(np.floor(values.to_numpy().min())) if len(values) else 0.0


def joined_readings(folder: Folder) -> pl.DataFrame:
    """Return readings with their row, passage and distance; kept until the products change."""
    for product in PRODUCTS:
        made(folder, product)
    return kept(folder, "readings", PRODUCTS, lambda: _joined(folder))


def _joined(folder: Folder) -> pl.DataFrame:
    """Return readings joined with what is known of their lines."""
    check_one_run(folder, *PRODUCTS)
    readings = frame_of(folder, "readings").with_row_index("row")
    lines = frame_of(folder, "rover_lines").select("passage", "distance_m")
    return pl.concat([readings, lines], how="horizontal")


def _rows_of_lines(folder: Folder) -> dict[str, NDArray[np.uint32]]:
    """Return the rows of each line's readings, passage after passage, each in order of time."""
    own = joined_readings(folder).select("row", "line", "passage", "time_utc")
    ordered = own.filter(pl.col("line").is_not_null()).sort(
        "passage", "time_utc", maintain_order=True
    )
    grouped = ordered.group_by("line", maintain_order=True).agg("row")
    return {line: np.asarray(rows, dtype=np.uint32) for line, rows in grouped.iter_rows()}


def _placed(folder: Folder) -> pl.DataFrame:
    """Return readings with positions, passages together, each in order of time."""
    placed = joined_readings(folder).drop_nulls(["easting_m", "northing_m"])
    return placed.sort("passage", "instrument", "time_utc", nulls_last=True, maintain_order=True)


def _passages(folder: Folder, frame: pl.DataFrame) -> list[dict[str, Any]]:
    """Return what there is to say of each passage, in the order of their numbers."""
    verdicts, outcomes = _verdicts(folder), _outcomes(folder)
    lines = frame_of(folder, "lines").iter_rows(named=True)
    counts = dict(frame.group_by("passage").len().iter_rows())
    first, found = 0, []
    for number, row in enumerate(lines):
        start = utc(row["start_utc"])
        told = verdicts.get((row["line"], row["instrument"], (start or "")[:19]), {})
        count = counts.get(number, 0)
        found.append(
            {
                "line": row["line"],
                "instrument": row["instrument"],
                "day": row["day"],
                "start_utc": start,
                "end_utc": utc(row["end_utc"]),
                "tie": row["tie"],
                "length_m": row["length_m"],
                "azimuth_deg": row["azimuth_deg"],
                "noise_nT": told.get("noise_envelope_nT"),
                "readings": row["readings"],
                **outcomes.get(number, {"kept": 0, "left_out": {}}),
                "first": first,
                "count": count,
                "verdict": told.get("verdict"),
                "reasons": told.get("reasons", []),
            }
        )
        first += count
    return found


def _outcomes(folder: Folder) -> dict[int, dict[str, Any]]:
    """Return how many readings of each passage are kept in the end, and why others are not.

    The first checks keep more: a reading inside a gap of the base passes them without an anomaly.
    """
    found: dict[int, dict[str, Any]] = {}
    grouped = joined_readings(folder).drop_nulls("passage").group_by("passage", "kept", "reason")
    for passage, held, reason, count in grouped.len().sort("len", descending=True).iter_rows():
        own = found.setdefault(passage, {"kept": 0, "left_out": {}})
        if held:
            own["kept"] += count
        else:
            own["left_out"][reason or "no reason told"] = count
    return found


def _verdicts(folder: Folder) -> dict[tuple[str, str, str], dict[str, Any]]:
    """Return the verdict of each passage by line, instrument and start."""
    if not product_path(folder, "check").exists():
        return {}
    values = getattr(read_product(folder, "check"), "values", {})
    return {
        (line["line"], line["instrument"], line["start_utc"][:19]): line
        for day in values.get("days", [])
        for line in day["lines"]
    }


def profile(folder: Folder, line: str) -> Columns:
    """Return all readings of a line, passage after passage, with each correction.

    Returns
    -------
    Columns
        Distance along the line, with a place at one distance however often it was passed; place,
        time, the field less a datum, corrections, anomaly and its error; ``about["readings"]``
        names each reading, ``about["reasons"]`` why one isn't
        kept, ``reason`` is a number into it.

    Raises
    ------
    FolderError
        Before the first run, or where the last one didn't come to the readings.
    InputError
        For a line that isn't there.
    """
    joined = joined_readings(folder)
    rows = kept(folder, "rows of lines", PRODUCTS, lambda: _rows_of_lines(folder))
    if line not in rows:
        known = ", ".join(sorted(rows)[:60])
        raise InputError("There is no such line.", value=line, remedy=f"Lines are {known}.")
    own = joined[rows[line]]
    raw = own["raw_nT"].drop_nulls().to_numpy()
    datum = float(np.round(np.median(raw))) if raw.size else 0.0
    reason, reasons = codes(own["reason"])
    parts = [name for name in own.columns if name.endswith("_nT") and name != "raw_nT"]
    return Columns(
        {
            "line": line,
            "datum_nT": datum,
            "readings": own["reading_id"].to_list(),
            "reasons": list(reasons),
        },
        {
            "distance_m": small(one_axis(own)),
            "time_s": seconds(own["time_utc"]),
            "easting_m": own["easting_m"].fill_null(float("nan")).to_numpy(),
            "northing_m": own["northing_m"].fill_null(float("nan")).to_numpy(),
            "passage": own["passage"].fill_null(-1).cast(pl.Int32).to_numpy(),
            "row": own["row"].cast(pl.Int32).to_numpy(),
            "kept": own["kept"].cast(pl.UInt8).to_numpy(),
            "reason": reason,
            "raw_nT": small(own["raw_nT"], datum),
            **{name: small(own[name]) for name in parts},
        },
    )
