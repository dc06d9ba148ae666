"""All files of a survey that belong to a whole copy of it, by their names in the folder."""

from collections.abc import Iterator
from pathlib import Path

from lodewalk.errors import InputError
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.state import read_state

#: Folders of layers, pages and files for the handheld in that of the products.
LAYERS = ("rocks", "plan", "days")


def survey_files(folder: Folder) -> dict[str, Path]:
    """Return settings, raw files, decisions, products, layers, journals and report, by name.

    Files that nobody listed stay out: drafts, hidden ones, products of steps that are gone.

    Raises
    ------
    InputError
        Where one of them is a link that may lead out of the folder.
    """
    found = {path.relative_to(folder.path).as_posix(): path for path in _files(folder)}
    for name, path in found.items():
        if path.is_symlink():
            raise InputError(
                "A link may lead out of the survey folder.", file=name, remedy="Put the file there."
            )
    return dict(sorted(found.items()))


def own_file(folder: Folder, path: Path) -> Path:
    """Return the path of a file that is shown or given away, if it lies in the survey's folder.

    Raises
    ------
    InputError
        Where its name, or a link, the file or a folder above it, leads out of it.
    """
    if not path.resolve().is_relative_to(folder.path.resolve()):
        raise InputError(
            "This file lies outside the survey folder, or a link leads there.",
            file=path,
            remedy="Put the file into the survey folder.",
        )
    return path


def _files(folder: Folder) -> Iterator[Path]:
    """Yield the files."""
    yield folder.settings_file
    entries = read_ledger(folder)
    if entries:
        yield folder.ledger_file
    yield from (folder.raw / entry.name for entry in entries)
    made = [item for step in read_state(folder).values() for item in step.products.values()]
    if made:
        yield folder.state_file
    yield from (folder.products / item.file for item in made)
    if folder.decisions_file.exists():
        yield folder.decisions_file
    layers = [folder.products / name for name in LAYERS]
    for place in (*layers, folder.journal, folder.report):
        yield from (path for path in place.glob("[!.]*") if path.is_file())


def is_source(name: str) -> bool:
    """Tell whether a survey is rebuilt from the file of this name: settings, raw, decisions.

    Examples
    --------
    >>> is_source("raw/base.csv"), is_source("products/readings.parquet")
    (True, False)
    """
    return name == "survey.toml" or name.startswith(("raw/", "decisions/"))
