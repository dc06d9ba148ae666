"""Decisions on picks that meet nothing any more, as findings."""

from lodewalk.records.products import Findings
from lodewalk.services.rocks.fit import idle_picks
from lodewalk.steps.findings import FindingList
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path


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
