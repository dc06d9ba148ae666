"""A part of the demo's ground, planned from its polygon, walked on that plan, and searched.

The dyke is drawn anew for each seed from what the settings say of it; boulders and the deep block
are the demo's. The readings of the real run are scanned with the detector that the plan's promise
rests on. Invented.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from lodewalk.adapters.projection import to_geographic
from lodewalk.formats.geojson.write import Feature, write
from lodewalk.methods.planning.line_layout import Readings
from lodewalk.methods.planning.matched_filter import make_detector, scan_survey
from lodewalk.methods.planning.sought import prepare_target
from lodewalk.records.planning import PlannedLines
from lodewalk.records.recorded import HandMeter, Shapes
from lodewalk.services.demo.field import Place
from lodewalk.services.demo.scenario import Scenario
from lodewalk.services.new import new_survey
from lodewalk.services.plan import PlanResult, plan
from lodewalk.steps.going_place import going_place
from lodewalk.steps.plan_sought import sought_body
from lodewalk.survey.folder import Folder, open_folder
from lodewalk.survey.settings import picked
from lodewalk.survey.store import read_product
from walked_plan import Believed, drawn_dyke, walk_plan, world_with

SECTIONS = ("survey.crs", "body", "host", "survey_noise", "plan", "effort")
FIRST_DAY, SIZE_M = "2026-03-10", (260.0, 240.0)
#: Two dykes: one like the demo's, and one that is found or not.
STRONG = Believed(9.0, 1.3, (0.03, 0.03), 131.0, 5.0, 5.0, 150.0, 150.0)
FAINT = replace(STRONG, susceptibility=(0.0007, 0.0007))


@dataclass(frozen=True)
class Found:
    """What was promised of one survey, and what the run's anomalies showed of its dyke."""

    promised: float
    found: bool
    score: float
    threshold: float
    kept: float


def settings_of(believed: Believed) -> dict:
    """Return settings that say what the crew believed; one susceptibility, so its range is 0."""
    return {
        "body": {
            "kind": "dyke", "susceptibility": believed.susceptibility[0],
            "depth_m": believed.depth_m, "depth_factor": believed.depth_factor,
            "width_m": believed.width_m, "length_m": believed.length_m,
            "depth_extent_m": believed.depth_extent_m, "strike_deg": believed.strike_deg,
            "strike_sd_deg": believed.strike_sd_deg, "dip_deg": believed.dip_deg,
        },
        "host": {"susceptibility": 0.0, "noise_nT": 0.3, "soil_noise_nT": 0.2},
        "survey_noise": {"walking_nT": 0.3, "diurnal_nT": 0.2, "level_nT": 0.5},
        "plan": {"first_day": FIRST_DAY, "sensor_height_m": Scenario().sensor_height_m},
    }  # fmt: skip


def planned(
    folder: Path, believed: Believed, size: tuple[float, float]
) -> tuple[Folder, PlanResult]:
    """Plan a rectangle of the demo's ground; `size` is along and across the demo's lines [m]."""
    place = Place(Scenario())
    corners = np.array([(0.0, 0.0), (size[0], 0.0), size, (0.0, size[1])])
    degrees = to_geographic(*place.to_grid(*corners.T), crs=Scenario().crs)
    write(folder / "area.geojson", [Feature("Polygon", list(zip(*degrees, strict=True)))])
    new_survey(
        folder / "survey", name="Planned", crs=Scenario().crs, settings=settings_of(believed)
    )
    survey = open_folder(folder / "survey")
    return survey, plan(survey, area=[folder / "area.geojson"])


def walked_and_searched(
    folder: Path, believed: Believed, size: tuple[float, float], seed: int
) -> Found:
    """Plan, draw the dyke, walk the plan in one survey, run it, look for the dyke."""
    survey, made = planned(folder, believed, size)
    assert made.detection is not None
    dyke = drawn_dyke(believed, size, np.random.default_rng([seed, 90]))
    lines = read_product(survey, "planned_lines")
    assert isinstance(lines, PlannedLines)
    survey = walk_plan(survey, lines, world_with(dyke, seed=seed), seed=seed)
    middle = Place(Scenario()).to_grid(np.array(dyke.along_m), np.array(dyke.across_m))
    threshold = made.detection["threshold"]
    score, kept = searched(survey, np.array(middle), made.spacing_m)
    return Found(made.detection["probability"], score > threshold, score, threshold, kept)


def searched(survey: Folder, middle: np.ndarray, spacing_m: float) -> tuple[float, float]:
    """Return the highest score near the dyke's middle, and the share of readings kept."""
    area, meter = (read_product(survey, f"{role}_recorded") for role in ("area", "hand_meter"))
    assert isinstance(area, Shapes)
    assert isinstance(meter, HandMeter)
    settings = picked(survey.settings, SECTIONS)
    place = going_place(area, settings["plan"], crs=settings["survey.crs"])
    sought = sought_body(place, meter, settings)
    assert sought is not None
    table = pl.read_parquet(survey.products / "readings.parquet")
    kept = table.filter(pl.col("kept") & pl.col("line").is_not_null())
    time = kept["time_utc"].dt.timestamp("ms").to_numpy() / 1000.0
    readings = Readings(
        kept["easting_m"].to_numpy() - sought.middle_m[0],
        kept["northing_m"].to_numpy() - sought.middle_m[1],
        kept["line"].rle_id().to_numpy().astype(np.int64),
        time - time[0],
    )
    height = settings["plan"]["sensor_height_m"]
    prepared = prepare_target(sought.target, sensor_height_m=height)
    detector = make_detector(
        readings, sought.outline_m, prepared=prepared, noise=sought.noise, spacing_m=spacing_m
    )
    scan = scan_survey(detector, kept["anomaly_nT"].to_numpy())
    across, along = prepared.tolerance(spacing_m)
    turn = np.radians(sought.target.strike_deg)
    off = scan.place_m - (middle - sought.middle_m)
    near = np.abs(off @ [np.cos(turn), -np.sin(turn)]) <= across
    near &= np.abs(off @ [np.sin(turn), np.cos(turn)]) <= along
    return float(scan.score[near].max()), len(kept) / len(table)
