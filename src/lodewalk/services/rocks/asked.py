"""Fits that a person asks for, with the section that shows them; nothing is kept."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from lodewalk.services.rocks.along import AlongResult, fit_along, kinds_of
from lodewalk.services.rocks.between import BetweenResult, fit_between
from lodewalk.services.rocks.room import Section, section_asked, with_sensor
from lodewalk.survey.folder import Folder


@dataclass(frozen=True)
class Asked:
    """A fit that was asked for: what was told of it, and its section."""

    told: AlongResult | BetweenResult
    section: Section


def along_with_section(folder: Folder, **wanted: Any) -> Asked:
    """Fit to a piece of a line, as `fit_along`, with the section."""
    return _asked(fit_along, folder, wanted)


def between_with_section(folder: Folder, **wanted: Any) -> Asked:
    """Fit to the grid between two points, as `fit_between`, with the section."""
    return _asked(fit_between, folder, wanted)


def _asked(work: Callable[..., Any], folder: Folder, wanted: dict[str, Any]) -> Asked:
    """Do a fit and keep what its section is drawn of."""
    drawn: list[Section] = []

    def hear(pick: Any, rows: Any, fitted: Any, body: Any) -> None:
        shown = section_asked(pick, rows, fitted, body, kinds_of(fitted, pick))
        drawn.append(with_sensor(folder, shown, pick.row["sensor_height_m"]))

    told = work(folder, hear=hear, **wanted)
    return Asked(told, drawn[0])
