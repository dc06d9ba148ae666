"""Decisions on picks that meet nothing any more, as findings."""

from typing import cast

from lodewalk.records import Document
from lodewalk.records.products import Findings
from lodewalk.steps.findings import FindingList
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path, read_product


def idle_picks(folder: Folder) -> list[str]:
    """Return a sentence for each decision on a pick that meets nothing."""
    notes = cast(Document, read_product(folder, "pick_notes")).values
    words = {
        "pick": "Pick {name} isn't looked at: its reading {reading_id} can't be used.",
        "refuse": "The refusal of {name} meets no pick near its reading {reading_id}.",
    }
    return [
        words[row["kind"]].format_map({**row, "name": row["name"] or "a pick"})
        for row in notes["idle_decisions"]
    ]


def idle_findings(folder: Folder) -> Findings:
    """Return a finding for each pick or refusal that met nothing when picks were last made.

    Parameters
    ----------
    folder : Folder
        The survey.

    Returns
    -------
    Findings
        Without a row where no picks have been made.
    """
    found = FindingList("picks")
    if product_path(folder, "pick_notes").exists():
        for text in idle_picks(folder):
            found.add("decision without effect", text, severity="doubt")
    return found.table()
