"""The way through: what comes next in each room, and the guided path."""

from lodewalk.services.guide import GuideResult, guide
from lodewalk.services.tour import TourResult, tour
from lodewalk.web.depends import Survey
from lodewalk.web.described import router_of

router = router_of("help")


@router.get("/guide")
def show_guide(folder: Survey) -> GuideResult:
    """Say what comes next in each room."""
    return guide(folder)


@router.get("/tour")
def show_tour(folder: Survey) -> TourResult:
    """Return the guided path through the open survey: things to see, each with its room."""
    return tour(folder)
