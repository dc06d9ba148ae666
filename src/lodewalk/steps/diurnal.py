"""Diurnal correction: base(t) + site tie - datum, never extrapolated."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.methods.checks.quietest import Quietest, quietest_window
from lodewalk.methods.corrections.diurnal import interpolate_base
from lodewalk.methods.corrections.diurnal_sd import diurnal_sd
from lodewalk.records import Document, Record
from lodewalk.records.products import Diurnal
from lodewalk.records.table import float_column
from lodewalk.steps.base_days import stamp
from lodewalk.steps.bases import Base, on_datum, tell_apart, usable_bases
from lodewalk.steps.bridges import offer_bridges
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, table

Floats = NDArray[np.float64]


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the diurnal correction of each rover reading with its error, and the datum."""
    parts = usable_bases(inputs, [d for d in context.decisions if d["kind"] == "move"])
    bases = on_datum(parts, document(inputs, "datum_network"))
    datum = _datum(bases, settings["datum"])
    seconds = table(inputs, "rover_times").seconds("time_utc")
    diurnal, sd = np.full(seconds.shape, np.nan), np.full(seconds.shape, np.nan)
    used = np.full(seconds.shape, None, dtype=object)
    for base in bases:
        todo = np.isnan(diurnal)
        diurnal[todo], sd[todo] = _by_base(seconds[todo], base, settings["diurnal"])
        used[todo & np.isfinite(diurnal)] = base.name
    found = FindingList("diurnal")
    offered = offer_bridges(
        inputs,
        np.where(np.isnan(diurnal), seconds, np.nan),
        bases,
        context.decisions,
        max_gap_s=settings["diurnal"]["max_gap_s"],
        found=found,
    )
    diurnal[offered.built], sd[offered.built] = (
        part[offered.built] for part in (offered.value_nT, offered.sd_nT)
    )
    used[offered.built] = "bridge"
    if datum["datum_nT"] is not None:
        diurnal -= datum["datum_nT"]
    reason = pl.Series(_reasons(seconds, diurnal, bases), dtype=pl.String)
    frame = pl.DataFrame(
        {
            "diurnal_nT": float_column(diurnal),
            "sd_diurnal_nT": float_column(sd),
            "bridge_sd_nT": float_column(offered.sd_nT),
            "base": pl.Series(used.tolist(), dtype=pl.String),
            "reason": reason,
        }
    )
    tell_apart(found, bases, document(inputs, "rover_files"), seconds)
    return {"rover_diurnal": Diurnal(frame), "datum": datum, "diurnal_findings": found.table()}


def _by_base(seconds: Floats, base: Base, settings: Mapping[str, Any]) -> tuple[Floats, Floats]:
    """Return the field of one base at the times of the readings, with its error."""
    gap = settings["max_gap_s"]
    field = interpolate_base(
        seconds, base.seconds, base.field_nT, kind=settings["interpolation"], max_gap_s=gap
    )
    sd = diurnal_sd(
        seconds, base.seconds, base.field_nT, max_gap_s=gap, base_noise_nT=base.noise_nT
    )
    return field, np.where(np.isnan(field), np.nan, np.hypot(sd, base.level_sd_nT))


def _datum(bases: list[Base], settings: Mapping[str, Any]) -> Document:
    """Return the datum, its epoch and what the absolute level rests on."""
    quietest = _quietest(bases, settings["quiet_hours"] * 3600)
    value, epoch = settings["value_nT"], settings["epoch"]
    values: dict[str, Any] = {
        "datum_nT": value,
        "epoch_utc": f"{epoch}T00:00:00Z" if epoch else None,
        "instrument": None,
        "start_utc": None,
        "end_utc": None,
        "rests_on": "the datum that was set" if value else "nothing: there is no base record",
    }
    if quietest:
        name, window = quietest
        values["epoch_utc"] = values["epoch_utc"] or stamp(round(window.epoch_s))
        if value is None:
            values |= {
                "datum_nT": window.datum_nT,
                "instrument": name,
                "start_utc": stamp(round(window.start_s)),
                "end_utc": stamp(round(window.end_s)),
                "rests_on": "the median of the base in its quietest hours",
            }
    return Document(values)


def _quietest(bases: list[Base], window_s: float) -> tuple[str, Quietest] | None:
    """Return the quietest window of all bases with the base's name."""
    found = [(b.name, quietest_window(b.seconds, b.field_nT, window_s=window_s)) for b in bases]
    complete = [item for item in found if not item[1].whole]
    return min(complete or found, key=lambda item: item[1].roughness_nT, default=None)


def _reasons(seconds: Floats, diurnal: Floats, bases: list[Base]) -> list[str | None]:
    """Say of each reading without a correction why it has none."""
    reasons = np.full(seconds.shape, None, dtype=object)
    lacking = np.isnan(diurnal)
    reasons[lacking] = "outside the base record" if bases else "no base record"
    for base in bases:
        inside = lacking & (seconds > base.seconds[0]) & (seconds < base.seconds[-1])
        reasons[inside] = "inside a gap of the base record"
    listed: list[str | None] = reasons.tolist()
    return listed
