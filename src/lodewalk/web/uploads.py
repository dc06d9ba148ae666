"""Folders of what was uploaded: gone when the pages end, and swept when they ended too suddenly."""

import os
import shutil
import tempfile
from pathlib import Path

#: Folders are named by this and the process that made them.
PREFIX = "lodewalk-upload-"


class Uploads:
    """The folders for uploads of one process."""

    def __init__(self) -> None:
        self._made: list[Path] = []

    def made(self) -> Path:
        """Return a new folder; whoever is done with it removes it."""
        folder = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-"))
        self._made.append(folder)
        return folder

    def close(self) -> None:
        """Remove what is left."""
        for folder in self._made:
            shutil.rmtree(folder, ignore_errors=True)


def sweep() -> None:
    """Remove the folders of processes that are no more."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*-*"):
        number = folder.name.removeprefix(PREFIX).split("-")[0]
        own = folder.is_dir() and not folder.is_symlink()
        if own and number.isdigit() and not _runs(int(number)):
            shutil.rmtree(folder, ignore_errors=True)


def _runs(process: int) -> bool:
    """Tell whether a process of this number runs, as far as this machine tells; else say yes."""
    if os.name != "posix":  # there a signal of number 0 would end it
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
