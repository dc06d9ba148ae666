"""Making an empty survey folder."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lodewalk.survey.folder import create_folder


@dataclass(frozen=True)
class NewResult:
    """What was made."""

    folder: str
    settings_file: str


def new_survey(
    path: Path, *, name: str, crs: str, settings: Mapping[str, Mapping[str, Any]] | None = None
) -> NewResult:
    """Make an empty survey folder with a commented `survey.toml`.

    Parameters
    ----------
    path : Path
        Folder that doesn't exist yet or is empty.
    name : str
        Name of the survey.
    crs : str
        Projected reference system in metres, such as ``EPSG:31982``.
    settings : mapping, optional
        Further settings by section.

    Raises
    ------
    FolderError
        When the folder is there and not empty.
    InputError
        For an unknown reference system, or one that is not projected in metres.
    """
    from lodewalk.adapters.projection import check_projected

    check_projected(crs)
    values: dict[str, dict[str, Any]] = {key: dict(part) for key, part in (settings or {}).items()}
    values["survey"] = {"name": name, "crs": crs, **values.get("survey", {})}
    folder = create_folder(path, values)
    return NewResult(str(folder.path), str(folder.settings_file))
