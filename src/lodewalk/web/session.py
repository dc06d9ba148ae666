"""What one process serves: a survey, or a shelf of surveys to choose from, and its work."""

import threading
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lodewalk.errors import InputError, LodewalkError
from lodewalk.services.opening import open_survey
from lodewalk.web.guard import Keys
from lodewalk.web.hub import Hub
from lodewalk.web.jobs import Jobs
from lodewalk.web.problems import BusyError
from lodewalk.web.uploads import Uploads

if TYPE_CHECKING:
    from lodewalk.services.opening import Folder


class Session:
    """The survey that is open, or none, the shelf on which others lie, and the work under way.

    Parameters
    ----------
    place : Path
        A survey folder, which is then the only one served; or a folder in which surveys lie or
        will be made: the shelf. Nothing outside is ever read or written.
    keys : Keys
        The secrets of this process.
    """

    def __init__(self, place: Path, keys: Keys) -> None:
        alone = (place / "survey.toml").is_file()
        self.keys = keys
        self.shelf: Path | None = None if alone else place
        self._path: Path | None = place if alone else None
        self._guard = threading.Lock()
        self.hub = Hub()
        self.uploads = Uploads()
        self.jobs = Jobs(self.hub.wake, lambda: self.name)

    @property
    def path(self) -> Path | None:
        """The folder of the survey that is open."""
        with self._guard:
            return self._path

    @property
    def name(self) -> str | None:
        """The name of that folder."""
        path = self.path
        return None if path is None else path.name

    def survey(self, wanted: str | None = None) -> "Folder":
        """Return the survey that is open, read anew.

        Parameters
        ----------
        wanted : str, optional
            Name of the folder that the request is meant for.

        Raises
        ------
        BusyError
            When none is open, or another than the one wanted.
        """
        path = self.path
        if path is None:
            raise BusyError("No survey is open. Choose or make one on the start page.")
        if wanted is not None and wanted != path.name:
            raise BusyError(
                f"This page belongs to {wanted[:100]}, and {path.name} is open now. Nothing was "
                "changed. Open the right one on the start page."
            )
        return open_survey(path)

    def check_free(self) -> None:
        """Raise `BusyError` where work is under way, so that no other survey can be opened."""
        if self.jobs.busy:
            raise BusyError("A run is under way. Wait until it ends, or stop it first.")

    def on_shelf(self, name: str) -> Path:
        """Return the folder of this name on the shelf, there or not.

        Raises
        ------
        InputError
            For a name that would lead out of the shelf.
        BusyError
            Where one survey alone is served.
        """
        if self.shelf is None:
            raise BusyError("These pages serve one survey alone. Open another with: lodewalk open")
        plain = name.strip()
        bad = {"/", "\\", "\0", ":"} & set(plain) or plain.startswith(".") or not plain
        path = self.shelf / plain if not bad else self.shelf
        if bad or len(plain) > 100 or path.resolve().parent != self.shelf.resolve():
            raise InputError(
                "A folder's name is a plain one, without slashes, colons or a dot at its begin.",
                value=name,
                remedy="Surveys are kept in the folder that lodewalk was opened with.",
            )
        return path

    def open(self, path: Path) -> None:
        """Open another survey; every page hears of it.

        Raises
        ------
        LodewalkError
            Where the folder is no survey, or work is under way.
        """
        self.check_free()
        self.take(path)

    def take(self, path: Path) -> None:
        """Open a survey that the work under way has made.

        Raises
        ------
        LodewalkError
            Where the folder is no survey, or its settings can't be read.
        """
        _ = open_survey(path).settings
        with self._guard:
            self._path = path
        self.hub.wake()

    def state(self) -> dict[str, Any]:
        """Return what every page has to know at any time: survey, its mark, work under way."""
        from lodewalk.services.overview import mark

        path = self.path
        try:
            now = None if path is None else mark(open_survey(path))
        except LodewalkError:
            now = "gone"
        job = self.jobs.state()
        return {
            "survey": None if path is None else path.name,
            "mark": now,
            "job": None if job is None else asdict(job),
        }

    def close(self) -> None:
        """Stop what is under way, and remove what was uploaded for it."""
        self.jobs.close()
        self.uploads.close()
