"""Where everything lies in a survey folder."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from lodewalk.errors import FolderError
from lodewalk.survey.files import write_text
from lodewalk.survey.settings import check_settings, read_settings, settings_text
from lodewalk.survey.settings_table import Settings


@dataclass(frozen=True)
class Folder:
    """One survey on disk.

    Parameters
    ----------
    path : Path
        The folder itself.
    tried : Settings, optional
        Settings to look at it with instead of those that are written there.
    """

    path: Path
    tried: Settings | None = None

    @property
    def settings_file(self) -> Path:
        """The settings table."""
        return self.path / "survey.toml"

    @property
    def raw(self) -> Path:
        """Raw files as recorded, with their ledger."""
        return self.path / "raw"

    @property
    def ledger_file(self) -> Path:
        """The list of raw files."""
        return self.raw / "ledger.json"

    @property
    def decisions_file(self) -> Path:
        """What persons decided, one JSON a line."""
        return self.path / "decisions" / "decisions.jsonl"

    @property
    def products(self) -> Path:
        """Records that the steps made."""
        return self.path / "products"

    @property
    def state_file(self) -> Path:
        """Which step made what from what."""
        return self.products / "state.json"

    @property
    def journal(self) -> Path:
        """One JSON for each run."""
        return self.path / "journal"

    @property
    def report(self) -> Path:
        """Report, maps and sheets."""
        return self.path / "report"

    @property
    def package(self) -> Path:
        """The delivery package that the pages make; it is in no package itself."""
        return self.path / "package"

    @property
    def own_folders(self) -> tuple[Path, ...]:
        """The folders in which files are written."""
        steps = self.products / "steps"
        decisions = self.decisions_file.parent
        made = self.products, steps, self.journal, self.report, self.package
        return self.raw, decisions, *made

    @cached_property
    def settings(self) -> Settings:
        """The settings, read and checked."""
        return self.tried or read_settings(self.settings_file)


def open_folder(path: Path) -> Folder:
    """Return the survey folder at `path`.

    Raises
    ------
    FolderError
        When there is none.
    """
    folder = Folder(path)
    if not folder.settings_file.is_file():
        raise FolderError(
            f"{path} is no survey folder: it has no survey.toml. "
            "Make one with: lodewalk new DIR --name NAME --crs EPSG:CODE"
        )
    return folder


def create_folder(path: Path, values: dict[str, dict[str, object]]) -> Folder:
    """Make an empty survey folder with these settings.

    Raises
    ------
    FolderError
        When there is one already, or the folder holds other files.
    SettingsError
        For a wrong setting; nothing is made then.
    """
    check_settings(values, file="survey.toml")
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise FolderError(f"{path} is there already and not empty. Choose another folder.")
    folder = Folder(path)
    for part in (folder.raw, folder.decisions_file.parent, folder.products, folder.journal):
        part.mkdir(parents=True, exist_ok=True)
    write_text(folder.settings_file, settings_text(values))
    return folder
