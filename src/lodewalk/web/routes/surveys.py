"""The start page's matters: which surveys there are, a new one, the demo; and what is open."""

from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import Query
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, ConfigDict, Field

from lodewalk.errors import FolderError, InputError, LodewalkError, SettingsError
from lodewalk.services.opening import check_free, check_named
from lodewalk.services.overview import OverviewResult, overview, surveys_in
from lodewalk.services.stale import ABOUT
from lodewalk.services.systems import SystemsResult, systems_at, systems_by_name
from lodewalk.web.depends import Serving, Survey, plain
from lodewalk.web.described import router_of
from lodewalk.web.jobs import JobState
from lodewalk.web.problems import NotFoundError, beside

router = router_of("survey")


class Form(BaseModel):
    """A request's body: unknown names are refused."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Listed(BaseModel):
    """A survey on the shelf; `problem` says why it can't be opened."""

    folder: str
    name: str | None = None
    crs: str | None = None
    files: int = 0
    problem: str | None = None


class Shelf(BaseModel):
    """The surveys that can be opened; `shelf` is null where one alone is served."""

    shelf: str | None
    open: str | None
    surveys: list[Listed]


class NewSurvey(Form):
    """A new survey: its folder on the shelf, its name and projected reference system."""

    folder: str = Field(max_length=200)
    name: str = Field(max_length=200)
    crs: str = Field(max_length=200)


class Choice(Form):
    """A survey on the shelf, by its folder's name."""

    folder: str = Field(max_length=200)


class Demo(Form):
    """Where to write the demo, and the seed: the same seed gives the same files."""

    folder: str = Field(default="demo-survey", max_length=200)
    seed: Annotated[int, Field(ge=0, le=2**31)] = 7


class SessionState(BaseModel):
    """What every page follows: the open survey, a mark that changes with it, work under way."""

    survey: str | None
    mark: str | None
    job: JobState | None


@router.get("/surveys")
def list_surveys(session: Serving) -> Shelf:
    """List the surveys on the shelf."""
    path = session.path
    paths = surveys_in(session.shelf) if session.shelf else [path] if path else []
    return Shelf(
        shelf=None if session.shelf is None else str(session.shelf.resolve()),
        open=None if path is None else path.name,
        surveys=[_listed(item) for item in paths],
    )


def _listed(path: Any) -> Listed:
    """Return a survey as the list shows it."""
    from lodewalk.services.opening import open_survey

    try:
        found = overview(open_survey(path))
    except (LodewalkError, OSError) as error:
        return Listed(folder=path.name, problem=str(error))
    return Listed(folder=path.name, name=found.name, crs=found.crs, files=len(found.files))


@router.post("/surveys", status_code=201)
def make_survey(form: NewSurvey, session: Serving) -> OverviewResult:
    """Make an empty survey on the shelf and open it."""
    from lodewalk.services.new import new_survey

    session.check_free()
    with beside("folder", FolderError, InputError):
        path = session.on_shelf(form.folder)
    with beside("folder", FolderError), beside("crs", InputError), beside("name", SettingsError):
        check_named(form.name)
        new_survey(path, name=form.name, crs=form.crs)
    session.open(path)
    return overview(session.survey())


@router.post("/surveys/open")
def open_one(form: Choice, session: Serving) -> OverviewResult:
    """Open a survey of the shelf; every page hears of it."""
    path = session.on_shelf(form.folder)
    if not (path / "survey.toml").is_file():
        raise NotFoundError("There is no survey of this name here.", value=form.folder)
    session.open(path)
    return overview(session.survey())


@router.post("/demo", status_code=202)
def make_demo(form: Demo, session: Serving) -> JobState:
    """Write the demo survey with its known truth, run the whole job on it and open it."""
    from lodewalk.services.demo_job import demo

    with beside("folder", FolderError, InputError):
        path = session.on_shelf(form.folder)
        check_free(path)

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        made = demo(path, seed=form.seed, reporter=reporter, cancelled=cancelled)
        session.take(path)
        return plain(made)

    return session.jobs.start("demo", work, survey=path.name, planned=len(ABOUT))


@router.get("/systems")
def find_system(
    find: Annotated[str | None, Query(max_length=200)] = None,
    latitude_deg: Annotated[float | None, Query(ge=-90, le=90)] = None,
    longitude_deg: Annotated[float | None, Query(ge=-180, le=180)] = None,
) -> SystemsResult:
    """Find a projected reference system by place, or by words of its name or area."""
    if latitude_deg is not None and longitude_deg is not None:
        return systems_at(latitude_deg, longitude_deg)
    return systems_by_name(find or "")


@router.get("/survey")
def show_survey(folder: Survey) -> OverviewResult:
    """Say what the open survey is and holds."""
    return overview(folder)


@router.get("/state")
def show_state(session: Serving) -> SessionState:
    """Return what every page follows, once."""
    return SessionState(**session.state())


@router.get("/events", response_class=StreamingResponse)
async def follow(session: Serving) -> StreamingResponse:
    """Follow the state as server-sent events: the present one first, then each change."""

    async def events() -> AsyncIterator[bytes]:
        async for part in session.hub.stream(session.state):
            yield part

    return StreamingResponse(events(), media_type="text/event-stream")
