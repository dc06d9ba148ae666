"""The journal: one JSON for each run, also for one that failed or was killed."""

import os
import platform
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from lodewalk import __version__
from lodewalk.survey.clock import now_utc
from lodewalk.survey.files import write_json
from lodewalk.survey.folder import Folder

LIBRARIES = ("numpy", "scipy", "numba", "polars", "xarray", "h5netcdf", "pyproj", "matplotlib")


@dataclass
class Entry:
    """The record of one run; it is on disk from the start, so that a killed run shows."""

    path: Path
    values: dict[str, Any] = field(default_factory=dict)

    def finish(self, status: str, **more: Any) -> None:
        """Write how the run ended."""
        self.values.update(status=status, ended_utc=now_utc(), **more)
        write_json(self.path, self.values)


def start_entry(folder: Folder, **about: Any) -> Entry:
    """Begin the record of a run."""
    started = now_utc()
    stamp = started.translate(str.maketrans("", "", "-:."))
    entry = Entry(folder.journal / f"{stamp}-{os.getpid()}.json")
    entry.values = {"started_utc": started, "status": "running", "versions": versions(), **about}
    write_json(entry.path, entry.values)
    return entry


def versions() -> dict[str, str]:
    """Return the versions of lodewalk, Python and the libraries that numbers depend on."""
    found = {"lodewalk": __version__, "python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:  # a library may be absent in a reduced installation
            found[name] = "absent"
    return found
