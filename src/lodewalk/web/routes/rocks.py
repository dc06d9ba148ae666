"""From map to rocks: picks, bodies, profiles, lineaments and depths."""

from typing import Annotated, Any

from pydantic import Field

from lodewalk.errors import InputError
from lodewalk.services.rocks.room import RocksView, Section, rocks_view, section
from lodewalk.web.depends import Name, Serving, Survey, plain
from lodewalk.web.described import router_of
from lodewalk.web.jobs import JobState
from lodewalk.web.problems import beside
from lodewalk.web.routes.surveys import Form

router = router_of("rocks")

Metres = Annotated[float, Field(ge=-2e7, le=2e7)]
Angle = Annotated[float, Field(ge=-1e4, le=1e4)]
Kind = Annotated[str, Field(max_length=60)]


class BodyForm(Form):
    """The body to fit: the most probable kind, straight across, when nothing is given."""

    kind: Kind | None = None
    strike_deg: Angle | None = None


class AlongForm(BodyForm):
    """A piece of a line to fit a body to."""

    line: str = Field(max_length=200)
    from_m: Metres
    to_m: Metres


class BetweenForm(BodyForm):
    """Two points of the map to fit a body between."""

    from_easting_m: Metres
    from_northing_m: Metres
    to_easting_m: Metres
    to_northing_m: Metres


class SpotForm(Form):
    """The middle of a square, and half its side, to fit a compact body in."""

    easting_m: Metres
    northing_m: Metres
    reach_m: Annotated[float, Field(ge=-1e6, le=1e6)]


@router.get("/rocks")
def show_rocks(folder: Survey) -> RocksView:
    """Return lineaments, picks, bodies and depths as they stand; nothing is run."""
    return rocks_view(folder)


@router.get("/rocks/sections/{pick}")
def show_section(pick: Name, folder: Survey) -> Section:
    """Return the profile of a pick with curve, residuals, and the body in the ground below."""
    return section(folder, pick)


@router.post("/rocks/along", status_code=202)
def fit_piece(form: AlongForm, session: Serving, folder: Survey) -> JobState:
    """Fit a body to a piece of a line in the background; nothing is kept."""
    from lodewalk.services.rocks.asked import along_with_section

    return _start(session, along_with_section, folder, "from_m", form.model_dump())


@router.post("/rocks/between", status_code=202)
def fit_points(form: BetweenForm, session: Serving, folder: Survey) -> JobState:
    """Fit a body to the grid between two points in the background; nothing is kept."""
    from lodewalk.services.rocks.asked import between_with_section

    wanted = {
        "start": (form.from_easting_m, form.from_northing_m),
        "end": (form.to_easting_m, form.to_northing_m),
        "kind": form.kind,
        "strike_deg": form.strike_deg,
    }
    return _start(session, between_with_section, folder, "from_easting_m", wanted)


@router.post("/rocks/spot", status_code=202)
def fit_place(form: SpotForm, session: Serving, folder: Survey) -> JobState:
    """Fit a compact body around a place in the background; nothing is kept."""
    from lodewalk.services.rocks.compact import fit_spot

    return _start(session, fit_spot, folder, "easting_m", form.model_dump())


#: The field that a refusal is about, by words of its rule; else the first of the form.
AT_FAULT = (
    ("kind of body", "kind"), ("strike", "strike_deg"), ("No line with", "line"),
    ("reach", "reach_m"),
)  # fmt: skip


def _start(session: Any, service: Any, folder: Any, first: str, wanted: dict[str, Any]) -> JobState:
    """Start a fit; what is wrong is said beside the field that it is about."""

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        try:
            found = service(folder, reporter=reporter, cancelled=cancelled, **wanted)
        except InputError as error:
            with beside(_at_fault(error, wanted, first), InputError):
                raise
        return plain(found)

    state: JobState = session.jobs.start("fit", work)
    return state


def _at_fault(error: InputError, wanted: dict[str, Any], first: str) -> str:
    """Return the name of the field that a refusal is about."""
    if str(error.value).startswith("{:.1f} E {:.1f} N".format(*wanted.get("end", (0.0, 0.0)))):
        return "to_easting_m"
    return next((field for words, field in AT_FAULT if words in error.rule), first)
