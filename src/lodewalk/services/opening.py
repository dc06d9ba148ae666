"""Opening a survey, and what hears the progress of a run; cheap to import."""

from pathlib import Path
from typing import TYPE_CHECKING

from lodewalk.errors import FolderError, SettingsError
from lodewalk.steps.context import Reporter, Silent

if TYPE_CHECKING:
    from lodewalk.survey.folder import Folder as Folder

__all__ = ["Reporter", "Silent", "check_free", "check_named", "open_survey"]


def open_survey(path: Path) -> "Folder":
    """Return the survey folder at `path`.

    Raises
    ------
    FolderError
        When there is none.
    """
    from lodewalk.survey.folder import open_folder

    return open_folder(path)


def check_named(name: str) -> None:
    """Raise for a survey without a name.

    Raises
    ------
    SettingsError
        Where nothing, or only blanks, stands there.
    """
    if not name.strip():
        raise SettingsError("A survey needs a name.", remedy="It is printed on maps and report.")


def check_free(path: Path) -> None:
    """Raise where a new survey can't be written to.

    Raises
    ------
    FolderError
        For a file, or a folder that holds something.
    """
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise FolderError(f"{path.name} is there already and not empty. Choose another folder.")
