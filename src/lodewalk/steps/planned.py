"""The planned lines of a survey, and the repeat lines that lie on them."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lodewalk.adapters.projection import to_projected
from lodewalk.methods.corrections.repeat_lines import hosts_of
from lodewalk.records import Table

Floats = NDArray[np.float64]
#: Name of a repeat line; a line so called that lies on no other is a line like others.
REPEAT = re.compile(r"R\d+")


@dataclass(frozen=True)
class Plan:
    """The plan of a survey.

    Parameters
    ----------
    lines : dict
        Vertices of each planned line, without the repeat lines [m].
    repeats : dict
        Name of the line on which each repeat line lies, and its own vertices [m].
    """

    lines: dict[str, Floats]
    repeats: dict[str, tuple[str, Floats]]


def planned(recorded: Table, crs: str) -> Plan:
    """Return the planned lines; a route named R.. that lies on another one is a repeat line."""
    easting, northing = to_projected(
        recorded.floats("longitude_deg"), recorded.floats("latitude_deg"), crs=crs
    )
    names = np.array(recorded.strings("line"), dtype=object)
    vertices = np.column_stack([easting, northing])
    every = {name: vertices[names == name] for name in dict.fromkeys(names.tolist())}
    lines = {name: line for name, line in every.items() if not REPEAT.fullmatch(name)}
    marked = [name for name in every if name not in lines]
    if not lines or not marked:
        return Plan(every, {})
    hosts = hosts_of([every[name] for name in marked], list(lines.values()))
    on = {name: list(lines)[host] for name, host in zip(marked, hosts, strict=True) if host >= 0}
    return Plan(
        {name: line for name, line in every.items() if name not in on},
        {name: (host, every[name]) for name, host in on.items()},
    )
