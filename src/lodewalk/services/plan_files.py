"""The files of a plan: waypoints and routes, layers, tables, map and field sheets."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from lodewalk.errors import InputError
from lodewalk.services.joined import product
from lodewalk.survey.clock import now_utc
from lodewalk.survey.files import write_with
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

if TYPE_CHECKING:
    from lodewalk.handover.plan_words import FieldNotes
    from lodewalk.methods.geomagnetic import SiteValues
    from lodewalk.records.planning import PlannedLines, PlannedPoints, PlannedSurvey


@dataclass(frozen=True)
class PlanFiles:
    """The files written, and what was split or shortened for the handheld, in words."""

    paths: tuple[Path, ...]
    notes: tuple[str, ...]


def write_plan(folder: Folder, *, draft: bool = False) -> list[Path]:
    """Write all files of a plan to ``products/plan/`` and return their paths.

    Parameters
    ----------
    folder : Folder
        A survey whose plan has been made.
    draft : bool
        Whether each page says that it is a draft.

    Raises
    ------
    FolderError
        When there is no plan.
    InputError
        When the plan has no line, or names for the handheld run out.
    """
    return list(write_plan_files(folder, draft=draft).paths)


def write_plan_files(folder: Folder, *, draft: bool = False) -> PlanFiles:
    """Write all files of a plan and say what was split or shortened; see `write_plan`."""
    from lodewalk.handover.device import device_files
    from lodewalk.handover.plan_package import PATTERNS, device_words, plan_files

    survey, renamed, notes = planned_survey(folder, draft=draft)
    limits = folder.settings.handheld
    place = product_path(folder, "plan").parent
    made = plan_files(
        survey, notes, most_waypoints=limits.most_waypoints,
        most_route_points=limits.most_route_points,
    )  # fmt: skip
    written = []
    for file in made:
        write_with(place / file.name, file.write)
        written.append(place / file.name)
    for old in {path for pattern in PATTERNS for path in place.glob(pattern)} - set(written):
        old.unlink()
    words = device_words(
        device_files(survey, most=limits.most_waypoints), renamed, every=len(survey.points),
        most_waypoints=limits.most_waypoints,
    )  # fmt: skip
    return PlanFiles(tuple(written), tuple(words))


def planned_survey(
    folder: Folder, *, draft: bool = False
) -> "tuple[PlannedSurvey, dict[str, str], FieldNotes]":
    """Return the plan as it is drawn, the names that were shortened, and the sheets' words."""
    from lodewalk.adapters.plan_outlines import plan_outlines
    from lodewalk.adapters.projection import crs_title
    from lodewalk.handover.device import with_waypoints
    from lodewalk.records.planning import PlannedSurvey

    settings, about = folder.settings, folder.settings.survey
    lines = cast("PlannedLines", product(folder, "planned_lines"))
    points = cast("PlannedPoints", product(folder, "planned_points"))
    if not len(lines):
        raise InputError(
            "The plan has no line.", remedy="Look at what lodewalk plan says of the area."
        )
    named, renamed = with_waypoints(
        lines, points, crs=about.crs, each_m=settings.handheld.waypoint_each_m,
        name_length=settings.handheld.name_length,
    )  # fmt: skip
    plan = settings.plan.model_dump()
    outlines = plan_outlines(
        product(folder, "area_recorded"), product(folder, "exclusion_recorded"), crs=about.crs,
        buffers_m={name: float(plan[name]) for name in plan if name in _BUFFERS},
    )  # fmt: skip
    first = first_day(product(folder, "plan").values, settings.plan.first_day)
    days = int(lines.frame["day"].max() or 0)  # type: ignore[arg-type]
    dates = tuple((first + timedelta(days=day)).isoformat() for day in range(days)) if first else ()
    field, convergence = _field(lines, about.crs, first)
    survey = PlannedSurvey(
        about.name, about.crs, crs_title(about.crs), lines, named, outlines, dates,
        convergence, field.declination_deg, draft,
    )  # fmt: skip
    return survey, renamed, _notes(folder, field)


#: Settings of section ``plan`` that say how far something is kept clear of.
_BUFFERS = ("power_line_m", "fence_m", "road_m", "water_m", "building_m", "other_m")


def first_day(plan: dict[str, Any], setting: date | None) -> date | None:
    """Return the first field day: the plan's own, else the one set, else none.

    Examples
    --------
    >>> first_day({"first_day": "2026-03-09"}, None), first_day({}, None)
    (datetime.date(2026, 3, 9), None)
    """
    told = plan.get("first_day")
    return date.fromisoformat(told) if told else setting


def _field(lines: "PlannedLines", crs: str, first: date | None) -> "tuple[SiteValues, float]":
    """Return the reference field in the middle of the lines on the first day, and convergence."""
    import numpy as np

    from lodewalk.adapters.projection import grid_convergence_deg, to_geographic
    from lodewalk.methods.geomagnetic import decimal_year, site_values

    ends = [
        np.concatenate([lines.floats(f"{axis}_1_m"), lines.floats(f"{axis}_2_m")])
        for axis in ("easting", "northing")
    ]
    middle = [float((values.min() + values.max()) / 2) for values in ends]
    longitude, latitude = (float(part) for part in to_geographic(*middle, crs=crs))
    day = first or date.fromisoformat(now_utc()[:10])
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    year = float(decimal_year(start.timestamp()))
    turn = float(grid_convergence_deg(longitude, latitude, crs=crs))
    return site_values(latitude, longitude, 0.0, decimal_year=year), turn


def _notes(folder: Folder, field: "SiteValues") -> "FieldNotes":
    """Return what the field sheets say beside the plan."""
    from lodewalk.handover.plan_words import FieldNotes

    settings = folder.settings
    told = settings.tolerances.model_dump()
    return FieldNotes(
        {name: value for name, value in told.items() if value is not None}
        | {"chord_s": settings.checks.chord_s},
        tuple(settings.plan.call),
        field.inclination_deg,
        field.tuning_uT,
        field.total_field_nT,
        settings.plan.sensor_height_m,
    )
