"""Dips: what each body's index angle means under the stated magnetisation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from lodewalk.methods.inversion.dips import Dip, dip_of, susceptibility_width
from lodewalk.methods.inversion.results import Estimate
from lodewalk.records import Record
from lodewalk.records.interpreted import Dips
from lodewalk.steps.bodies import estimate_columns
from lodewalk.steps.context import Context
from lodewalk.steps.outcrops import Outcrop, held, of_magnetisation, outcrops_near, section_of
from lodewalk.steps.rows import table
from lodewalk.steps.site_field import grid_turn, survey_site

#: Settings that say what dips stand under.
DIP_SETTINGS = (
    "survey.crs",
    "fits.magnetisation",
    "fits.koenigsberger",
    "transforms.magnetisation_inclination_deg",
    "transforms.magnetisation_declination_deg",
)
#: Kinds with a width of their own, and kinds that are one face between two rocks.
STRIPS, EDGES = ("thin sheet", "dyke"), ("contact", "step")
NO_DIP = "A body of this kind has no dip."
NO_STRIKE = "Its strike is not known, so no dip is told: give one."


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return the dip of each body."""
    bodies = table(inputs, "bodies").frame
    field = under(inputs, settings) if bodies.height else None
    context.check_cancelled()
    seen = outcrops_near(inputs, settings["survey.crs"]) if bodies.height else {}
    rows = [
        dip_row(row, field, seen.get(row["body"], ()))
        for row in bodies.iter_rows(named=True)
        if field is not None
    ]
    return {"dips": dips_table(rows)}


@dataclass(frozen=True)
class Under:
    """Field and magnetisation that dips are told under; azimuths count from grid north [deg]."""

    strength_nT: float
    inclination_deg: float
    declination_deg: float
    magnetisation: str
    koenigsberger: float
    body_inclination_deg: float | None
    body_declination_deg: float | None

    def dip(
        self,
        index: Estimate,
        azimuth_deg: float,
        strike_sd_deg: float = 0.0,
        *,
        edge: bool = False,
    ) -> Dip:
        """Return the dip of a body by its index angle and the azimuth of its profile."""
        body = self.body_declination_deg
        return dip_of(
            index,
            magnetisation=self.magnetisation,
            inclination_deg=self.inclination_deg,
            profile_azimuth_deg=azimuth_deg - self.declination_deg,
            koenigsberger=self.koenigsberger,
            strike_sd_deg=strike_sd_deg,
            body_inclination_deg=self.body_inclination_deg,
            body_azimuth_deg=None if body is None else azimuth_deg - body,
            edge=edge,
        )


def under(inputs: Mapping[str, Record], settings: Mapping[str, Any]) -> Under:
    """Return field and magnetisation at the survey."""
    site, turn = survey_site(inputs), grid_turn(inputs, settings["survey.crs"])
    stated = settings["fits.magnetisation"]
    names = ("inclination", "declination")
    given = [settings[f"transforms.magnetisation_{name}_deg"] for name in names]
    return Under(
        site.total_field_nT,
        site.inclination_deg,
        site.declination_deg - turn,
        stated,
        settings["fits.koenigsberger"],
        given[0] if stated == "given" else None,
        given[1] - turn if stated == "given" else None,
    )


def dip_row(
    body: Mapping[str, Any], under: Under, outcrops: Sequence[Outcrop] = ()
) -> dict[str, Any]:
    """Return the dip of a row of the table of bodies, as a row of the table of dips.

    Dips at outcrops near the body are held under a stated magnetisation; where none is stated they
    tell of the magnetisation instead.
    """
    azimuth = None if body["strike_deg"] is None else body["strike_deg"] + 90.0
    dip, said = Dip(None, float("nan"), float("nan"), True, NO_DIP), list[str]()
    sd = body["strike_sd_deg"]
    if sd is None:
        dip = replace(dip, words=NO_STRIKE)
    elif body["kind"] in (*STRIPS, *EDGES) and azimuth is not None:
        index, section = estimate_of(body, "index_angle", "deg"), section_of(under, azimuth)
        if under.magnetisation == "unknown":
            said = of_magnetisation(index, outcrops, section)
        else:
            index, said = held(index, outcrops, section)
        dip = under.dip(index, azimuth, sd, edge=body["kind"] in EDGES)
    range_ = (dip.range_low_deg, dip.range_high_deg)
    low, high = (float(end) if np.isfinite(end) else None for end in range_)
    return {
        "body": body["body"],
        **estimate_columns("dip", "deg", dip.dip),
        "dip_range_low_deg": low,
        "dip_range_high_deg": high,
        "positive": None if dip.dip is None else dip.positive,
        **estimate_columns("susceptibility_width", "SI_m", _susceptibility(body, dip, under)),
        "magnetisation": under.magnetisation,
        "dip_words": " ".join([dip.words, *said]),
    }


def _susceptibility(body: Mapping[str, Any], dip: Dip, under: Under) -> Estimate | None:
    """Return susceptibility times width of a sheet or dyke that is magnetised along the field."""
    told = dip.dip is not None and dip.positive and under.magnetisation == "induced"
    if not told or dip.dip is None or body["kind"] not in STRIPS or body["strength_nT_m"] is None:
        return None
    return susceptibility_width(
        estimate_of(body, "strength", "nT_m"),
        dip_deg=dip.dip.value,
        dip_sd_deg=dip.dip.sd,
        strength_nT=under.strength_nT,
        inclination_deg=under.inclination_deg,
        profile_azimuth_deg=body["strike_deg"] + 90.0 - under.declination_deg,
    )


def estimate_of(row: Mapping[str, Any], name: str, unit: str) -> Estimate:
    """Return an estimate from its columns; an end that is missing lies infinitely far away.

    Examples
    --------
    >>> estimate_of({"a_m": 1.0, "a_sd_m": None, "a_low_m": None, "a_high_m": 2.0}, "a", "m").low
    -inf
    """
    missing = {"": np.nan, "_sd": np.inf, "_low": -np.inf, "_high": np.inf}
    told = {tail: row[f"{name}{tail}_{unit}"] for tail in missing}
    value, sd, low, high = (
        float(missing[tail] if told[tail] is None else told[tail]) for tail in missing
    )
    return Estimate(value, sd, low, high)


def dips_table(rows: list[dict[str, Any]]) -> Dips:
    """Return dips as their table."""
    columns = {
        column.name: pl.Series([row.get(column.name) for row in rows], dtype=column.dtype)
        for column in Dips.SCHEMA
    }
    return Dips(pl.DataFrame(columns))
