"""Decisions: those in force, taking one, taking one back, and ticking a checklist."""

from typing import Annotated, Literal

from fastapi import Query
from pydantic import Field

from lodewalk.services import decide as service
from lodewalk.services.decide import DecideResult, DecisionList, TickResult
from lodewalk.web.depends import Survey
from lodewalk.web.described import router_of
from lodewalk.web.routes.surveys import Form

router = router_of("decisions")

Text = Annotated[str, Field(max_length=2000)]
Name = Annotated[str, Field(max_length=200)]


class Signed(Form):
    """What every decision has: why, and who decided."""

    reason: Text
    who: Name


class DecisionForm(Signed):
    """A decision about an instrument and a span as recorded, or about readings.

    A proposal is declined as it was shown: what is sent of it has to be proposed still.
    """

    kind: Literal["clock", "lag", "drop", "keep", "bridge", "move", "test", "decline"]
    instrument: Name | None = None
    start: Name | None = None
    end: Name | None = None
    readings: Annotated[tuple[Name, ...], Field(max_length=10_000)] = ()
    offset_s: float | None = None
    lag_s: float | None = None
    sd_s: float | None = None
    test: Name | None = None
    item: Name = ""
    whole: bool = False
    proposed: Literal["clock", "lag", "drop", "bridge", "move"] | None = None
    source: Name | None = None
    error_95_nT: float | None = None


class PickForm(Signed):
    """A pick at a reading, or at the kept reading nearest to a place."""

    reading: Name | None = None
    line: Name | None = None
    distance_m: float | None = None
    easting_m: float | None = None
    northing_m: float | None = None
    strike_deg: float | None = None
    compact: bool = False


class RefusalForm(Signed):
    """The pick or lineament that is refused, by its name."""

    name: Name


class TickForm(Form):
    """Items of an instrument's checklist that are done on a day."""

    items: Annotated[list[Name], Field(max_length=100)]
    instrument: Name
    day: Name
    who: Name


@router.get("/decisions")
def show_decisions(folder: Survey) -> DecisionList:
    """Return the decisions in force, in the order taken."""
    return DecisionList(service.decisions_in_force(folder))


@router.post("/decisions", status_code=201)
def take(form: DecisionForm, folder: Survey) -> DecideResult:
    """Write down a decision; nothing is run yet."""
    nulls = [name for name in form.model_fields_set if getattr(form, name) is None]
    return service.decide(folder, **form.model_dump(), nulls=nulls)


@router.delete("/decisions/{decision}")
def take_back(
    decision: Name,
    folder: Survey,
    reason: Annotated[str, Query(max_length=2000)],
    who: Annotated[str, Query(max_length=200)],
) -> DecideResult:
    """Take a decision back; it stays in the file with what withdrew it."""
    return service.withdraw(folder, decision, reason=reason, who=who)


@router.post("/picks", status_code=201)
def add_pick(form: PickForm, folder: Survey) -> DecideResult:
    """Add a pick: a place where a body is to be fitted."""
    return service.add_pick(folder, **form.model_dump())


@router.post("/refusals", status_code=201)
def refuse(form: RefusalForm, folder: Survey) -> DecideResult:
    """Refuse a pick, or a lineament with all its picks."""
    return service.refuse(folder, form.name, reason=form.reason, who=form.who)


@router.get("/ticks")
def show_ticks(
    folder: Survey,
    day: Annotated[str, Query(max_length=20)],
    instrument: Annotated[str, Query(max_length=200)],
) -> TickResult:
    """Return an instrument's checklist on a day."""
    return service.tick(folder, (), instrument=instrument, day=day, who="")


@router.post("/ticks")
def tick(form: TickForm, folder: Survey) -> TickResult:
    """Tick items of a checklist; what is ticked already keeps its person and time."""
    return service.tick(
        folder, tuple(form.items), instrument=form.instrument, day=form.day, who=form.who
    )
