"""What comes next in a survey, for each room of the work, from what the survey holds."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from lodewalk.errors import LodewalkError
from lodewalk.services.overview import OverviewResult, overview
from lodewalk.services.stale import pending
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path


@dataclass(frozen=True)
class Hint:
    """What to do next in a room: a sentence, and the room to go on to with what is there.

    `to` is the room itself where the next thing is done here.
    """

    room: str
    text: str
    to: str
    link: str


@dataclass(frozen=True)
class GuideResult:
    """A hint for each room; `truth` says whether the survey's truth lies beside it, as a demo's."""

    hints: list[Hint]
    truth: bool


@dataclass(frozen=True)
class _Known:
    """What a survey has, as far as hints ask for it."""

    place: bool
    area: bool
    plan: bool
    base: bool
    rover: bool
    checked: bool
    stale: int
    rewalk: int
    doubt: int
    grid: bool
    bodies: bool
    report: bool


def guide(folder: Folder) -> GuideResult:
    """Return what comes next in each room.

    Raises
    ------
    LodewalkError
        For settings or a ledger that can't be read.
    """
    known = _known(folder, overview(folder))
    hints = [_hint(room, known) for room in dict.fromkeys(row.room for row in HINTS)]
    return GuideResult(hints, (folder.path / "truth" / "bodies.json").is_file())


def _known(folder: Folder, seen: OverviewResult) -> _Known:
    """Return what a survey has."""
    check = _check(folder)
    lines = [line["verdict"] for day in check.get("days", []) for line in day["lines"]]
    roles = seen.roles
    return _Known(
        place=folder.settings.plan.latitude_deg is not None or bool(roles),
        area="area" in roles,
        plan="planned_lines" in seen.products or "plan" in roles,
        base="base" in roles,
        rover="rover" in roles,
        checked="check" in seen.products,
        stale=len(pending(folder).steps),
        rewalk=len({span["line"] for span in check.get("rewalk", {}).get("spans", [])}),
        doubt=lines.count("doubt"),
        grid="grids" in seen.products,
        bodies="bodies" in seen.products,
        report=(folder.path / "report" / "report.html").is_file(),
    )


def _check(folder: Folder) -> dict[str, Any]:
    """Return the document of the last check; empty where there is none that can be read."""
    try:
        found: dict[str, Any] = json.loads(
            product_path(folder, "check").read_text(encoding="utf-8")
        )
    except (OSError, ValueError, LodewalkError):
        return {}
    return found


def _hint(room: str, known: _Known) -> Hint:
    """Return the first hint of a room whose time it is."""
    row = next(row for row in HINTS if row.room == room and row.when(known))
    number = known.rewalk or known.doubt
    lines = f"{number} {'line' if number == 1 else 'lines'}"
    return Hint(room, row.text.format(lines=lines), row.to or room, row.link)


@dataclass(frozen=True)
class _Row:
    """A hint and when it counts; `to` is empty where the next thing is done in the room itself."""

    room: str
    when: Callable[[_Known], object]
    text: str
    to: str = ""
    link: str = ""


def _always(_: _Known) -> bool:
    """Tell what counts when nothing above it does."""
    return True


#: What comes next in each room: the first that counts is told.
HINTS = (
    _Row("site", lambda known: not known.place,
         "Say where the survey is: then its field and tuning stand here."),
    _Row("site", _always, "Next: lines over the area, with the odds of finding what you seek.",
         "plan", "Go to Plan"),
    _Row("plan", lambda known: known.plan and known.rover,
         "Lines of the plan have been walked: what they are worth stands in Days.",
         "days", "Go to Days"),
    _Row("plan", lambda known: known.plan,
         "Next: walk the lines, and add the day's files each evening.", "days", "Go to Days"),
    _Row("plan", lambda known: known.rover,
         "No lines are planned; those that were walked count as they are.", "days", "Go to Days"),
    _Row("plan", lambda known: known.area,
         "The area is here: look at its lines below, then make the plan."),
    _Row("plan", _always, "No lines are planned yet: give the area first."),
    _Row("days", lambda known: not known.base and not known.rover,
         "Add the files of your base and of your rover."),
    _Row("days", lambda known: not known.rover,
         "The base's files are here, the rover's are not: add them."),
    _Row("days", lambda known: not known.base,
         "The rover's files are here, the base's are not: add them, or no reading is reduced."),
    _Row("days", lambda known: not known.checked,
         "The files are here. Press Run above: then every day and line gets its verdict."),
    _Row("days", lambda known: known.stale,
         "Something changed since the last run. Press Run above to bring it up to date."),
    _Row("days", lambda known: known.rewalk,
         "{lines} to walk again, whole or in part: the route is kept here.",
         "map", "Go to Map meanwhile"),
    _Row("days", lambda known: known.doubt, "{lines} in doubt: see why, then go on.",
         "map", "Go to Map"),
    _Row("days", _always, "Every line can be kept. Next: the map.", "map", "Go to Map"),
    _Row("map", lambda known: not known.grid,
         "There is no map yet: it comes from base and rover files and a run.",
         "days", "Go to Days"),
    _Row("map", _always, "Next: which bodies make these anomalies, and how deep they are.",
         "rocks", "Go to Rocks"),
    _Row("rocks", lambda known: not known.grid,
         "Bodies are looked for on the map, and there is none yet.", "days", "Go to Days"),
    _Row("rocks", lambda known: not known.bodies,
         "No body has been fitted yet. Press Run above."),
    _Row("rocks", _always, "Next: report and package for those who check it.",
         "handover", "Go to Hand over"),
    _Row("handover", lambda known: not known.checked,
         "There is nothing to hand over yet: files and a run come first.", "days", "Go to Days"),
    _Row("handover", lambda known: known.stale,
         "Something changed since the last run. Press Run above before you hand over."),
    _Row("handover", lambda known: not known.report,
         "The report hasn't been made yet: make it here."),
    _Row("handover", _always, "Pack it and verify the package: then the job is done."),
    _Row("settings", lambda known: known.checked and known.stale,
         "Something changed since the last run. Press Run above.", "days", "Go to Days"),
    _Row("settings", _always, "Every setting has a default that suits most surveys.",
         "days", "Go to Days"),
)  # fmt: skip
