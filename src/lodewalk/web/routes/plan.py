"""The plan's matters: area, lines, effort and the files to take along."""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any

from fastapi import File, Query, UploadFile
from fastapi.responses import FileResponse
from pydantic import BaseModel, Field

from lodewalk.errors import InputError
from lodewalk.services.before_going.held_lines import HeldLine, held_lines
from lodewalk.services.before_going.plan_made import PlanMade, plan_file, plan_made
from lodewalk.services.before_going.plan_tried import (
    DRAWN_NAME,
    PlanOdds,
    PlanRing,
    PlanTried,
    drawn_shapes,
    held_outlines,
    outline_of_file,
    plan_odds,
    plan_tried,
    write_drawn,
)
from lodewalk.services.intake.names import safe_name
from lodewalk.web.depends import Name, Serving, Survey, plain
from lodewalk.web.described import router_of
from lodewalk.web.jobs import JobState
from lodewalk.web.problems import NotFoundError, beside
from lodewalk.web.routes.site import TriedForm, beside_setting
from lodewalk.web.routes.surveys import Form

router = router_of("plan", below="/plan")

Metres = Annotated[float, Field(ge=-1e8, le=1e8)]
Corner = Annotated[list[Metres], Field(min_length=2, max_length=2)]
Corners = Annotated[list[Corner], Field(max_length=2000)]
ANY_FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        "description": "The file.",
    }
}


class SketchForm(TriedForm):
    """Settings to try, and corners of a drawn area: easting and northing [m]."""

    corners: Corners | None = None


class MakeForm(Form):
    """A plan to make: of the area held, or of a drawn one, which then takes its place."""

    corners: Corners | None = None
    draft: bool = False
    replaces: bool = False


class Outlines(BaseModel):
    """Outlines in the survey's system, and planned lines that are there already."""

    outlines: list[PlanRing]
    lines: list[HeldLine] = Field(default_factory=list)


@router.get("")
def show_plan(folder: Survey) -> PlanMade:
    """Say what there is of a plan, and which files can be kept."""
    return plan_made(folder)


@router.get("/outlines")
def show_outlines(folder: Survey) -> Outlines:
    """Return area, exclusions and planned lines that the survey holds."""
    return Outlines(outlines=held_outlines(folder), lines=held_lines(folder))


@router.post("/outlines")
def read_outlines(
    folder: Survey, file: Annotated[UploadFile, File(description="Area to survey")]
) -> Outlines:
    """Return the polygons of a file in the survey's system; nothing is added."""
    with beside("file", InputError), TemporaryDirectory() as scratch:
        path = Path(scratch) / safe_name(file.filename or "area")
        path.write_bytes(file.file.read())
        return Outlines(outlines=outline_of_file(folder, path))


@router.post("/sketch")
def sketch(form: SketchForm, folder: Survey) -> PlanTried:
    """Return the plan as it would be; nothing is written."""
    with beside_setting(form.changes):
        return plan_tried(folder, form.changes, form.corners)


@router.post("/odds")
def show_plan_odds(form: SketchForm, folder: Survey) -> PlanOdds:
    """Return the odds of the plan as it would be; it takes a second or two."""
    with beside_setting(form.changes):
        return plan_odds(folder, form.changes, form.corners)


@router.post("", status_code=202)
def make_plan(form: MakeForm, session: Serving, folder: Survey) -> JobState:
    """Make the plan in the background: its files, and its lines as those of the survey."""
    from lodewalk.services.adopt_plan import check_adoption
    from lodewalk.services.plan import plan

    if not form.draft and not form.replaces:
        with beside("replaces", InputError):
            check_adoption(folder)
    if form.corners is not None:
        with beside("corners", InputError):
            drawn_shapes(form.corners, folder.settings.survey.crs)

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        with TemporaryDirectory() as scratch:
            area = []
            if form.corners is not None:
                area = [Path(scratch) / DRAWN_NAME]
                write_drawn(folder, form.corners, area[0])
            made = plan(
                folder,
                area=area,
                draft=form.draft,
                replaces=form.replaces,
                reporter=reporter,
                cancelled=cancelled,
            )
        return plain(made)

    return session.jobs.start("plan", work)


@router.get("/files/{name}", response_class=FileResponse, responses=ANY_FILE)
def keep_file(
    name: Name,
    folder: Survey,
    draft: Annotated[bool, Query()] = False,
) -> FileResponse:
    """Return one file of the plan."""
    try:
        path = plan_file(folder, name, draft=draft)
    except InputError as error:
        raise NotFoundError(error.rule, value=error.value, remedy=error.remedy) from None
    return FileResponse(path, filename=f"{folder.path.name}-{path.name}")
