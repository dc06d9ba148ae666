"""The graph by content: the key of each step and why it is stale."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from lodewalk.formats.registry import format_named
from lodewalk.steps.step import Step
from lodewalk.survey.decisions import Decision, in_force
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import RawFile, display_names
from lodewalk.survey.settings import picked
from lodewalk.survey.state import Made
from lodewalk.survey.store import is_intact


def key_parts(
    step: Step,
    folder: Folder,
    *,
    entries: Sequence[RawFile],
    decisions: Iterable[Decision],
    digests: Mapping[str, str],
) -> dict[str, Any]:
    """Return all that the products of a step depend on.

    Parameters
    ----------
    digests : mapping
        Digest of each product made so far, by name.
    """
    parts = {
        "version": step.version,
        "products": list(step.products),
        "settings": picked(folder.settings, step.settings),
        "inputs": {name: digests[name] for name in step.inputs},
        "decisions": [item.effect() for item in in_force(decisions, step.decisions)],
        "sources": _sources(step, entries),
    }
    plain: dict[str, Any] = json.loads(json.dumps(parts))
    return plain


def _sources(step: Step, entries: Sequence[RawFile]) -> list[dict[str, Any]]:
    """Return what the products of an ingest step depend on, file by file."""
    names = display_names(entries)
    found = [
        {
            **entry.reading(),
            "sha256": entry.sha256,
            "name": names[entry.sha256],
            "reader_version": format_named(entry.format).version,
        }
        for entry in entries
        if step.role and entry.role == step.role
    ]
    return sorted(found, key=lambda item: str(item["sha256"]))


def key_of(step: Step, parts: Mapping[str, Any]) -> str:
    """Return the key of a step: the SHA-256 of its name and the parts."""
    return hashlib.sha256(json.dumps([step.name, parts], sort_keys=True).encode()).hexdigest()


def why_stale(folder: Folder, step: Step, parts: Mapping[str, Any], made: Made | None) -> list[str]:
    """Return the reasons why a step has to run; none when its products are up to date."""
    if made is None:
        return ["it never ran"]
    if made.key != key_of(step, parts):
        return _changes(made.parts, parts)
    if not made.complete:
        return ["its last run was interrupted"]
    lost = [name for name, stored in made.products.items() if not is_intact(folder, name, stored)]
    return [f"product {name} is missing or was changed" for name in lost]


def _changes(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Say what differs between two sets of parts."""
    if not set(now) <= set(before):
        return ["its last run was kept in another form"]
    reasons = []
    if before["version"] != now["version"]:
        reasons.append(f"step version {before['version']} became {now['version']}")
    for name, value in _leaves(now["settings"]).items():
        old = _leaves(before["settings"]).get(name)
        if old != value:
            reasons.append(f"setting {name} changed from {old!r} to {value!r}")
    reasons += [
        f"input {name} changed"
        for name, digest in now["inputs"].items()
        if before["inputs"].get(name) != digest
    ]
    if before["decisions"] != now["decisions"]:
        reasons.append(f"decisions changed ({len(before['decisions'])} to {len(now['decisions'])})")
    reasons += _source_changes(before["sources"], now["sources"])
    return reasons or ["its declaration changed"]


def _source_changes(before: list[dict[str, Any]], now: list[dict[str, Any]]) -> list[str]:
    """Say which raw files came, went or are read in another way."""
    old = {item["sha256"]: item for item in before}
    new = {item["sha256"]: item for item in now}
    reasons = [f"raw file {new[key]['name']} was added" for key in new if key not in old]
    reasons += [f"raw file {old[key]['name']} was removed" for key in old if key not in new]
    return reasons + [
        f"raw file {new[key]['name']} is read in another way"
        for key in new
        if key in old and old[key] != new[key]
    ]


def _leaves(tree: Mapping[str, Any], prefix: str = "") -> dict[str, Any]:
    """Return nested settings flat, by dotted name."""
    flat: dict[str, Any] = {}
    for name, value in tree.items():
        if isinstance(value, Mapping):
            flat.update(_leaves(value, f"{prefix}{name}."))
        else:
            flat[f"{prefix}{name}"] = value
    return flat
