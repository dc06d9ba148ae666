"""What a survey is and holds, at a glance; and a mark that changes whenever the survey does."""

import hashlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import display_names, read_ledger
from lodewalk.survey.store import PUBLIC


@dataclass(frozen=True)
class HeldFile:
    """A raw file as the ledger lists it."""

    file: str
    stored_as: str
    role: str
    instrument: str
    format: str
    size_bytes: int
    zone: str
    sha256: str
    added_utc: str


@dataclass(frozen=True)
class OverviewResult:
    """Name, reference system and content of a survey; `products` names what has been made."""

    name: str
    folder: str
    crs: str
    time_zone: str
    files: list[HeldFile]
    roles: dict[str, int]
    products: list[str]
    mark: str


def overview(folder: Folder) -> OverviewResult:
    """Return what a survey is and holds, without running anything.

    Raises
    ------
    LodewalkError
        For settings or a ledger that can't be read.
    """
    about = folder.settings.survey
    entries = read_ledger(folder)
    names = display_names(entries)
    files = [
        HeldFile(
            names[entry.sha256], entry.name, entry.role, entry.instrument, entry.format,
            entry.size, entry.zone, entry.sha256, entry.added_utc,
        )
        for entry in entries
    ]  # fmt: skip
    return OverviewResult(
        name=about.name,
        folder=str(folder.path.resolve()),
        crs=about.crs,
        time_zone=about.time_zone,
        files=files,
        roles=dict(Counter(entry.role for entry in entries)),
        products=sorted(name for name, file in PUBLIC.items() if (folder.products / file).exists()),
        mark=mark(folder),
    )


def mark(folder: Folder) -> str:
    """Return a text that changes when settings, raw files, decisions or products change.

    Sizes and times of four files; whoever changed them, this process or another.
    """
    files = (folder.settings_file, folder.ledger_file, folder.decisions_file, folder.state_file)
    return hashlib.sha256(repr([_stamp(path) for path in files]).encode()).hexdigest()[:16]


def _stamp(path: Path) -> tuple[int, int]:
    """Return size and time of a file; zeros where there is none."""
    try:
        status = path.stat()
    except OSError:
        return 0, 0
    return status.st_size, status.st_mtime_ns


def surveys_in(shelf: Path) -> list[Path]:
    """Return the survey folders that lie directly in a folder, by name."""
    if not shelf.is_dir():
        return []
    return sorted(path for path in shelf.iterdir() if (path / "survey.toml").is_file())
