"""The plan that has been made: its files, and nothing else of the folder."""

from dataclasses import dataclass
from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.services.adopt_plan import ADOPTED_NAME
from lodewalk.survey.contents import own_file
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.store import product_path

#: What each file of a plan is for, by its name's pattern; others of the folder aren't served.
KINDS = (
    ("plan.gpx", "Lines and waypoints for the handheld GPS"),
    ("day-*.gpx", "What is walked on one day, for the handheld GPS"),
    ("field-sheet-day-*.pdf", "Field sheet of one day, to print"),
    ("plan.pdf", "The whole plan, to print"),
    ("lines.csv", "Table of lines"),
    ("waypoints.csv", "Table of waypoints"),
    ("map.png", "Map of the plan"),
    ("plan.kml", "For a globe viewer"),
    ("plan.gpkg", "Layers for a GIS"),
    ("field-sheet-day-*.html", "Field sheet of one day, to read on a screen"),
)


@dataclass(frozen=True)
class PlanFileRow:
    """One file of a plan that can be kept."""

    name: str
    about: str
    size: int


@dataclass(frozen=True)
class Caution:
    """A caution, as the report has it: general facts, local rules prevail."""

    name: str
    text: str


@dataclass(frozen=True)
class PlanMade:
    """Files of the plan and of a draft; plans and rover files of the survey, by name."""

    files: list[PlanFileRow]
    draft: list[PlanFileRow]
    adopted: list[str]
    by_hand: list[str]
    walked: bool
    made: bool
    cautions: list[Caution]


def plan_made(folder: Folder) -> PlanMade:
    """Return what there is of a plan."""
    from lodewalk.handover.words import CAUTIONS

    entries = read_ledger(folder)
    plans = [entry for entry in entries if entry.role == "plan"]
    place = product_path(folder, "plan").parent
    return PlanMade(
        files=_rows(place),
        draft=_rows(place / "draft"),
        adopted=[entry.name for entry in plans if entry.original_name == ADOPTED_NAME],
        by_hand=[entry.name for entry in plans if entry.original_name != ADOPTED_NAME],
        walked=any(entry.role == "rover" for entry in entries),
        made=product_path(folder, "plan").exists(),
        cautions=[Caution(fact.label, fact.value) for fact in CAUTIONS],
    )


def plan_file(folder: Folder, name: str, *, draft: bool = False) -> Path:
    """Return a file of the plan.

    Raises
    ------
    InputError
        For any other name.
    """
    made = plan_made(folder)
    if name not in {row.name for row in (made.draft if draft else made.files)}:
        raise InputError(
            "The plan has no file of this name.", value=name, remedy="Make the plan first."
        )
    place = product_path(folder, "plan").parent
    return own_file(folder, place / "draft" / name if draft else place / name)


def _rows(place: Path) -> list[PlanFileRow]:
    """Return the files of a plan in a folder, the most wanted first."""
    found: dict[str, PlanFileRow] = {}
    for pattern, about in KINDS:
        for path in sorted(place.glob(pattern)):
            if path.is_file() and not path.is_symlink():
                found.setdefault(path.name, PlanFileRow(path.name, about, path.stat().st_size))
    return list(found.values())
