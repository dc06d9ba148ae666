"""Where the route of what to walk again lies."""

from pathlib import Path

from lodewalk.errors import FolderError
from lodewalk.services.check import checked
from lodewalk.survey.contents import own_file
from lodewalk.survey.folder import Folder


def rewalk_file(folder: Folder) -> Path:
    """Return the GPX file of what to walk again.

    Raises
    ------
    FolderError
        Before the first check, or where nothing has to be walked again.
    InputError
        Where the check names a file that lies outside the survey's folder, or a link leads there.
    """
    told = checked(folder).rewalk.gpx
    path = None if told is None else own_file(folder, folder.path / told)
    if path is None or not path.is_file():
        raise FolderError("Nothing has to be walked again, so there is no route.")
    return path
