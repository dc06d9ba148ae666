"""The site's matters: reference field, tuning and whether a contrast will show."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

from fastapi import Query
from pydantic import Field

from lodewalk.errors import InputError, SettingsError
from lodewalk.services.before_going.expected import (
    OddsResult,
    expected,
    expected_odds,
    feasibility_tried,
)
from lodewalk.services.before_going.place import SiteHere, SurveyPlace, site_for, survey_place
from lodewalk.services.before_going.rocks import RockList, rock_list
from lodewalk.services.before_going.warm import warm
from lodewalk.services.feasibility import ExpectedResult
from lodewalk.web.depends import Serving, Survey, plain
from lodewalk.web.described import router_of
from lodewalk.web.jobs import JobState
from lodewalk.web.routes.settings import Name, Value
from lodewalk.web.routes.surveys import Form

router = router_of("site")

Tried = Annotated[dict[Name, Value], Field(max_length=60)]


class TriedForm(Form):
    """Settings by dotted name to look at the survey with; nothing is changed."""

    changes: Tried = Field(default_factory=dict)


@contextmanager
def beside_setting(changes: dict[str, Any]) -> Iterator[None]:
    """Let an error about a setting be shown beside its field."""
    try:
        yield
    except (InputError, SettingsError) as error:
        if getattr(error, "field", None) is None:
            text = str(error)
            named = [name for name in changes if name in text]
            error.field = max(named, key=len) if named else None  # type: ignore[attr-defined]
        raise


@router.get("/place")
def show_place(folder: Survey) -> SurveyPlace:
    """Say where the survey is, and what tells it; who asks will soon ask what it comes to."""
    warm()
    return survey_place(folder)


@router.get("/rocks/table")
def show_rock_table() -> RockList:
    """Return the table of rocks with the range of their susceptibility."""
    return rock_list()


@router.get("/site")
def show_site(
    folder: Survey,
    latitude_deg: Annotated[float, Query(ge=-1e6, le=1e6)],
    longitude_deg: Annotated[float, Query(ge=-1e6, le=1e6)],
    height_m: Annotated[float, Query(ge=-1e9, le=1e9)] = 0.0,
    date: Annotated[str | None, Query(max_length=20)] = None,
) -> SiteHere:
    """Return the reference field at a place and what follows from it; nothing is changed."""
    return site_for(folder, latitude_deg, longitude_deg, height_m=height_m, date=date or None)


@router.post("/expected")
def show_expected(form: TriedForm, folder: Survey) -> ExpectedResult:
    """Return the anomaly to expect with these settings tried; nothing is changed."""
    with beside_setting(form.changes):
        return expected(folder, form.changes)


@router.post("/expected/odds")
def show_expected_odds(form: TriedForm, folder: Survey) -> OddsResult:
    """Return the odds of detection with these settings tried; it takes about a second."""
    with beside_setting(form.changes):
        return expected_odds(folder, form.changes)


@router.post("/feasibility", status_code=202)
def start_feasibility(form: TriedForm, session: Serving, folder: Survey) -> JobState:
    """Reckon in the background what would change the odds most; nothing is written."""
    with beside_setting(form.changes):
        expected(folder, form.changes)  # what is wrong is refused here, not in the background

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        made = feasibility_tried(folder, form.changes, reporter=reporter, cancelled=cancelled)
        return plain(made)

    return session.jobs.start("feasibility", work)
