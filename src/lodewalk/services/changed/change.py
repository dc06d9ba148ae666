"""One thing that a run changed, and how to find them all."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from lodewalk.survey.folder import Folder

if TYPE_CHECKING:
    from lodewalk.services.changed.standing import Standing

About = Literal["verdicts", "findings", "readings", "lineaments", "depths"]


@dataclass(frozen=True)
class Change:
    """One thing that a run changed: what it is about, and a sentence."""

    about: About
    text: str


def changes_since(before: "Standing | None", folder: Folder) -> list[Change]:
    """Return what a survey says otherwise than before; nothing where no step ran."""
    if before is None:
        return []
    from lodewalk.services.changed.compared import changes
    from lodewalk.services.changed.standing import standing_of

    return changes(before, standing_of(folder))
