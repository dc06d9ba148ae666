"""Runs: what one would do, starting it, how far it is, stopping it."""

from typing import Annotated, Any

from fastapi import Query
from pydantic import Field

from lodewalk.services.stale import PendingResult, pending
from lodewalk.web.depends import Serving, Survey, plain
from lodewalk.web.described import router_of
from lodewalk.web.jobs import JobState
from lodewalk.web.routes.surveys import Form

router = router_of("run")

StepName = Annotated[str, Field(max_length=60)]


class RunForm(Form):
    """How far to run; to the end when left out."""

    to: StepName | None = None
    rehash: bool = False


class JobAnswer(Form):
    """The work under way, or the last one; null before the first."""

    job: JobState | None


@router.get("/run")
def show_run(session: Serving) -> JobAnswer:
    """Return the work under way, or the last one."""
    return JobAnswer(job=session.jobs.state())


@router.post("/run", status_code=202)
def start_run(session: Serving, folder: Survey, form: RunForm | None = None) -> JobState:
    """Bring the products up to date in the background."""
    from lodewalk.services.run import run

    wanted = form or RunForm()
    pending(folder, to=wanted.to)  # an unknown step is refused here, not in the background

    def work(reporter: Any, cancelled: Any) -> dict[str, Any]:
        made = run(
            folder, to=wanted.to, rehash=wanted.rehash, reporter=reporter, cancelled=cancelled
        )
        return plain(made)

    return session.jobs.start("run", work)


@router.delete("/run")
def stop_run(session: Serving) -> JobAnswer:
    """Ask the work under way to stop; what is finished is kept."""
    return JobAnswer(job=session.jobs.stop())


@router.get("/run/pending")
def show_pending(
    folder: Survey,
    to: Annotated[str | None, Query(max_length=60)] = None,
    kind: Annotated[list[str] | None, Query(max_length=20)] = None,
    aside: Annotated[str | None, Query(max_length=300)] = None,
    anew: Annotated[str | None, Query(max_length=300)] = None,
    role: Annotated[str | None, Query(max_length=20)] = None,
) -> PendingResult:
    """Say what a run would do now, or after a change that is only thought of.

    The change is a decision of a `kind`; a file, as it is stored, set `aside`; or one read `anew`
    in another way, from then on perhaps in another `role`.
    """
    return pending(folder, to=to, kinds=kind or (), aside=aside, anew=anew, role=role)
