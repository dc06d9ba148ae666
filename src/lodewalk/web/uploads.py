"""Folders of what was uploaded: gone when the pages end, and swept when they ended too suddenly."""

import shutil
from pathlib import Path

from lodewalk.services import scratch


class Uploads:
    """The folders for uploads of one process."""

    def __init__(self) -> None:
        self._made: list[Path] = []

    def made(self) -> Path:
        """Return a new folder; whoever is done with it removes it."""
        folder = scratch.made("upload")
        self._made.append(folder)
        return folder

    def close(self) -> None:
        """Remove what is left."""
        for folder in self._made:
            shutil.rmtree(folder, ignore_errors=True)


def sweep() -> None:
    """Remove what processes that are no more left of uploads, and of packages being verified."""
    for kind in ("upload", "verify"):
        scratch.sweep(kind)
