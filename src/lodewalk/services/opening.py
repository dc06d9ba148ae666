"""Opening a survey, and what hears the progress of a run; cheap to import."""

from pathlib import Path
from typing import TYPE_CHECKING

from lodewalk.steps.context import Reporter, Silent

if TYPE_CHECKING:
    from lodewalk.survey.folder import Folder as Folder

__all__ = ["Reporter", "Silent", "open_survey"]


def open_survey(path: Path) -> "Folder":
    """Return the survey folder at `path`.

    Raises
    ------
    FolderError
        When there is none.
    """
    from lodewalk.survey.folder import open_folder

    return open_folder(path)
