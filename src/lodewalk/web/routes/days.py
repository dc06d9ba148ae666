"""The evening's matters: verdicts, findings and clocks as last checked."""

from fastapi import APIRouter

from lodewalk.services.check import CheckResult, checked
from lodewalk.web.session import Survey

router = APIRouter(tags=["days"])


@router.get("/check")
def show_check(folder: Survey) -> CheckResult:
    """Return the verdicts, findings and clocks as last checked; nothing is run."""
    return checked(folder)
