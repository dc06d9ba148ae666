"""The files of a plan: waypoints and routes, layers, tables, map and field sheets."""

import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from lodewalk.errors import CancelledError, InputError
from lodewalk.services.joined import product
from lodewalk.steps.context import Reporter, Silent
from lodewalk.survey.files import write_with
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

if TYPE_CHECKING:
    from lodewalk.handover.plan_words import FieldNotes
    from lodewalk.records.planning import PlannedLines, PlannedPoints, PlannedSurvey


@dataclass(frozen=True)
class PlanFiles:
    """The files written, and what was split or shortened for the handheld, in words."""

    paths: tuple[Path, ...]
    notes: tuple[str, ...]


def write_plan(folder: Folder, *, draft: bool = False) -> list[Path]:
    """Write all files of a plan to ``products/plan/``, a draft to ``draft/`` in it.

    Parameters
    ----------
    folder : Folder
        A survey whose plan has been made.
    draft : bool
        Whether each page says that it is a draft.

    Returns
    -------
    list of Path

    Raises
    ------
    FolderError
        When there is no plan.
    InputError
        When the plan has no line, or names for the handheld run out.
    """
    return list(write_plan_files(folder, draft=draft).paths)


def write_plan_files(
    folder: Folder,
    *,
    draft: bool = False,
    adopting: Callable[[], object] | None = None,
    reporter: Reporter | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> PlanFiles:
    """Write all files of a plan and say what was split or shortened; see `write_plan`.

    They are written aside. Only when all are there `adopting` is called, and then they take the
    place of the former ones, so that a plan that was stopped or refused changes none of them.

    Raises
    ------
    CancelledError
        When the user asked to stop before all were there.
    """
    from lodewalk.handover.device import device_files
    from lodewalk.handover.plan_package import PATTERNS, device_words, plan_files

    survey, renamed, notes = planned_survey(folder, draft=draft)
    limits = folder.settings.handheld
    place = product_path(folder, "plan").parent
    place = place / "draft" if draft else place
    with aside(place) as scratch:
        files = list(plan_files(
            survey, notes, most_waypoints=limits.most_waypoints,
            most_route_points=limits.most_route_points,
        ))  # fmt: skip
        names = [file.name for file in files]
        for done, file in enumerate(files, 1):
            if cancelled():
                raise CancelledError("The plan was cancelled; none of its files was written.")
            write_with(scratch / file.name, file.write)
            (reporter or Silent()).progress("plan files", done, len(files))
        if adopting:
            adopting()
        for name in names:
            (scratch / name).replace(place / name)
    written = [place / name for name in names]
    for old in {path for pattern in PATTERNS for path in place.glob(pattern)} - set(written):
        old.unlink()
    words = device_words(
        device_files(survey, most=limits.most_waypoints), renamed, every=len(survey.points),
        most_waypoints=limits.most_waypoints,
    )  # fmt: skip
    return PlanFiles(tuple(written), tuple(words))


@contextmanager
def aside(place: Path) -> Iterator[Path]:
    """Yield an empty folder in a folder; it is gone in the end, and one left by a killed run."""
    scratch = place / ".writing"
    shutil.rmtree(scratch, ignore_errors=True)
    scratch.mkdir(parents=True)
    try:
        yield scratch
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def planned_survey(
    folder: Folder, *, draft: bool = False
) -> "tuple[PlannedSurvey, dict[str, str], FieldNotes]":
    """Return the plan as it is drawn, the names that were shortened, and the sheets' words."""
    from lodewalk.adapters.plan_outlines import plan_outlines
    from lodewalk.adapters.projection import crs_title
    from lodewalk.handover.device import named_for_device
    from lodewalk.records.planning import PlannedSurvey

    settings, about = folder.settings, folder.settings.survey
    lines = cast("PlannedLines", product(folder, "planned_lines"))
    points = cast("PlannedPoints", product(folder, "planned_points"))
    if not len(lines):
        raise InputError("The plan has no line.", remedy="Look at what the plan says of the area.")
    named, renamed = named_for_device(points, name_length=settings.handheld.name_length)
    plan = settings.plan.model_dump()
    outlines = plan_outlines(
        product(folder, "area_recorded"), product(folder, "exclusion_recorded"), crs=about.crs,
        buffers_m={name: float(plan[name]) for name in plan if name in _BUFFERS},
    )  # fmt: skip
    told = product(folder, "plan").values
    dates = tuple(row["date"] for row in told["days"] if row["date"])
    survey = PlannedSurvey(
        about.name, about.crs, crs_title(about.crs), lines, named, outlines, dates,
        told["site"]["convergence_deg"], told["site"]["declination_deg"], draft,
    )  # fmt: skip
    return survey, renamed, _notes(folder, told)


#: Settings of section ``plan`` that say how far something is kept clear of.
_BUFFERS = ("power_line_m", "fence_m", "road_m", "water_m", "building_m", "other_m")


def _notes(folder: Folder, plan: Mapping[str, Any]) -> "FieldNotes":
    """Return what the field sheets say beside the plan."""
    from lodewalk.handover.plan_words import FieldNotes
    from lodewalk.methods.geomagnetic.precession import tuning_microtesla

    settings, site = folder.settings, plan["site"]
    limits = settings.tolerances.model_dump()
    return FieldNotes(
        {name: value for name, value in limits.items() if value is not None}
        | {"chord_s": settings.checks.chord_s},
        tuple(settings.plan.call),
        site["inclination_deg"],
        float(tuning_microtesla(site["total_field_nT"])),
        site["total_field_nT"],
        settings.plan.sensor_height_m,
        plan["azimuth_deg"] + site["convergence_deg"] - site["declination_deg"],
        base_doubts=(*plan["base"]["broken"], *plan["base"]["not_checked"]),
        crossings={
            (day["day"], part["rover"]): tuple(part["power_crossings"])
            for day in plan["days"]
            for part in day["rovers"]
        },
    )
