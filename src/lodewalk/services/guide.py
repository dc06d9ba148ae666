"""What comes next in a survey, for each room of the work, from what the survey holds."""

import json
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
    hints = [
        _site(known),
        _plan(known),
        _days(known),
        _map(known),
        _rocks(known),
        _handover(known),
        _settings(known),
    ]
    return GuideResult(hints, (folder.path / "truth" / "bodies.json").is_file())


def _known(folder: Folder, seen: OverviewResult) -> _Known:
    """Return what a survey has."""
    lines = [line["verdict"] for day in _check(folder).get("days", []) for line in day["lines"]]
    roles = seen.roles
    return _Known(
        place=folder.settings.plan.latitude_deg is not None or bool(roles),
        area="area" in roles,
        plan="planned_lines" in seen.products or "plan" in roles,
        base="base" in roles,
        rover="rover" in roles,
        checked="check" in seen.products,
        stale=len(pending(folder).steps),
        rewalk=lines.count("re-walk"),
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


def _site(known: _Known) -> Hint:
    if not known.place:
        return Hint("site", "Say where the survey is: then its field and tuning stand here.",
                    "site", "")  # fmt: skip
    return Hint("site", "Next: lines over the area, with the odds of finding what you seek.",
                "plan", "Go to Plan")  # fmt: skip


def _plan(known: _Known) -> Hint:
    if known.plan and known.rover:
        text = "Lines of the plan have been walked: what they are worth stands in Days."
        return Hint("plan", text, "days", "Go to Days")
    if known.plan:
        return Hint("plan", "Next: walk the lines, and add the day's files each evening.",
                    "days", "Go to Days")  # fmt: skip
    if known.rover:
        text = "No lines are planned; those that were walked count as they are."
        return Hint("plan", text, "days", "Go to Days")
    if known.area:
        return Hint("plan", "The area is here: look at its lines below, then make the plan.",
                    "plan", "")  # fmt: skip
    return Hint("plan", "No lines are planned yet: give the area first.", "plan", "")


def _days(known: _Known) -> Hint:
    here = _files_lacking(known)
    if here:
        return Hint("days", here, "days", "")
    if known.rewalk:
        text = f"{known.rewalk} {_lines(known.rewalk)} to walk again: the route is kept here."
        return Hint("days", text, "map", "Go to Map meanwhile")
    if known.doubt:
        text = f"{known.doubt} {_lines(known.doubt)} in doubt: see why, then go on."
        return Hint("days", text, "map", "Go to Map")
    return Hint("days", "Every line can be kept. Next: the map.", "map", "Go to Map")


def _files_lacking(known: _Known) -> str:
    """Say what keeps the days from being judged; empty where nothing does."""
    if not known.base and not known.rover:
        return "Add the files of your base and of your rover."
    if not known.rover:
        return "The base's files are here, the rover's are not: add them."
    if not known.base:
        return "The rover's files are here, the base's are not: add them, or no reading is reduced."
    if not known.checked:
        return "The files are here. Press Run above: then every day and line gets its verdict."
    if known.stale:
        return "Something changed since the last run. Press Run above to bring it up to date."
    return ""


def _lines(count: int) -> str:
    return "line" if count == 1 else "lines"


def _map(known: _Known) -> Hint:
    if not known.grid:
        return Hint("map", "There is no map yet: it comes from base and rover files and a run.",
                    "days", "Go to Days")  # fmt: skip
    return Hint("map", "Next: which bodies make these anomalies, and how deep they are.",
                "rocks", "Go to Rocks")  # fmt: skip


def _rocks(known: _Known) -> Hint:
    if not known.grid:
        return Hint("rocks", "Bodies are looked for on the map, and there is none yet.",
                    "days", "Go to Days")  # fmt: skip
    if not known.bodies:
        return Hint("rocks", "No body has been fitted yet. Press Run above.", "rocks", "")
    return Hint("rocks", "Next: report and package for those who check it.",
                "handover", "Go to Hand over")  # fmt: skip


def _handover(known: _Known) -> Hint:
    if not known.checked:
        return Hint("handover", "There is nothing to hand over yet: files and a run come first.",
                    "days", "Go to Days")  # fmt: skip
    if known.stale:
        text = "Something changed since the last run. Press Run above before you hand over."
        return Hint("handover", text, "handover", "")
    if not known.report:
        return Hint("handover", "The report hasn't been made yet: make it here.", "handover", "")
    return Hint("handover", "Pack it and verify the package: then the job is done.",
                "handover", "")  # fmt: skip


def _settings(known: _Known) -> Hint:
    if known.checked and known.stale:
        return Hint("settings", "Something changed since the last run. Press Run above.",
                    "days", "Go to Days")  # fmt: skip
    return Hint("settings", "Every setting has a default that suits most surveys.",
                "days", "Go to Days")  # fmt: skip
