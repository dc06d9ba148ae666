"""The state: which step made which products from what, kept after success only."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from lodewalk.survey.files import write_text
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import Stored

FORMAT = 1


@dataclass(frozen=True)
class Made:
    """What a step made and what it depended on.

    `parts` are the parts of the key: version, settings, inputs, decisions, sources.
    `complete` is false from just before the first product is written until the last one is.
    """

    key: str
    parts: Mapping[str, Any]
    products: Mapping[str, Stored] = field(default_factory=dict)
    complete: bool = False


State = dict[str, Made]


def read_state(folder: Folder) -> State:
    """Return the state; an unreadable one counts as none, since products can be made anew."""
    try:
        found = json.loads(folder.state_file.read_text(encoding="utf-8"))
        if found["format"] != FORMAT:
            return {}
        return {name: _made(row) for name, row in found["steps"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def write_state(folder: Folder, state: State) -> None:
    """Write the whole state atomically."""
    steps = {
        name: vars(made) | {"products": {key: vars(one) for key, one in made.products.items()}}
        for name, made in state.items()
    }
    # On one line, which the encoder writes ten times faster: it is written twice a step.
    text = json.dumps({"format": FORMAT, "steps": steps}, sort_keys=True, allow_nan=False)
    write_text(folder.state_file, text + "\n")


def _made(row: dict[str, Any]) -> Made:
    """Return one entry from its JSON."""
    products = {name: Stored(**stored) for name, stored in row["products"].items()}
    return Made(row["key"], row["parts"], products, bool(row["complete"]))
