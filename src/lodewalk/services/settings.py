"""Settings as a form shows them, and changing them in `survey.toml` without losing its comments."""

import json
import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from types import NoneType
from typing import Any, Literal, get_args, get_origin

import numpy as np
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from lodewalk.errors import LodewalkError, SettingsError
from lodewalk.services.settings_text import note_of, section_path, with_value
from lodewalk.services.signed import signed
from lodewalk.services.stale import PendingResult, pending
from lodewalk.survey.files import write_text
from lodewalk.survey.folder import Folder
from lodewalk.survey.ledger import read_ledger
from lodewalk.survey.lock import locked
from lodewalk.survey.settings import check_settings, range_text
from lodewalk.survey.settings_table import SECTIONS

BY_HAND = "Change it in survey.toml by hand."


@dataclass(frozen=True)
class SettingRow:
    """One setting: `section` and `name` say where, `limits` unit and range in words.

    `kind` is number, whole number, text, date, choice, yes or no, or other; `default` and `value`
    are null where nothing is set, which `help` explains. `changed` tells that the value
    isn't the default, `stated` that `survey.toml` says it. `note` stands behind the value there:
    why it was changed, by whom and when.
    """

    section: str
    name: str
    help: str
    unit: str
    limits: str
    kind: str
    choices: list[str]
    default: Any
    value: Any
    changed: bool
    stated: bool
    note: str


@dataclass(frozen=True)
class SettingSection:
    """One section of settings."""

    section: str
    about: str
    rows: list[SettingRow]


@dataclass(frozen=True)
class SettingsResult:
    """All settings, with the sections of this survey's instruments."""

    sections: list[SettingSection]


def settings(folder: Folder) -> SettingsResult:
    """Return every setting with unit, range, help, default and value.

    Raises
    ------
    SettingsError
        Where `survey.toml` holds a wrong one.
    """
    values = folder.settings.model_dump(mode="json")
    text = folder.settings_file.read_text(encoding="utf-8-sig")
    said = tomllib.loads(text)
    for name in _instruments(folder):
        values["instruments"].setdefault(name, {})
    sections = []
    for name, section in SECTIONS.items():
        about = (section.__doc__ or "").strip().splitlines()[0]
        for full, own in _own(name, values):
            stated = _stated(said, full)
            rows = [
                _row(full, key, item, own, text, stated)
                for key, item in section.model_fields.items()
            ]
            sections.append(SettingSection(full, about, rows))
    return SettingsResult(sections)


def _instruments(folder: Folder) -> list[str]:
    """Return the instruments of the raw files; none where these can't be read."""
    try:
        entries = read_ledger(folder)
    except LodewalkError:
        return []
    roles = ("base", "rover", "track")
    return sorted({one.instrument for one in entries if one.role in roles and one.instrument})


def _stated(said: Mapping[str, Any], section: str) -> Collection[str]:
    """Return the names of a section's settings that the file says, be they the defaults."""
    part: Any = said
    for step in section_path(section):
        part = part.get(step, {})
    return list(part)


def _own(name: str, values: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield the full names of a section and its values; one for each named thing."""
    head, dot, _ = name.partition(".NAME")
    if dot:
        for key, own in values.get(head, {}).items():
            yield f"{head}.{key}", own
    else:
        yield name, values.get(name, {})


def _row(
    section: str,
    name: str,
    item: FieldInfo,
    own: Mapping[str, Any],
    text: str,
    stated: Collection[str],
) -> SettingRow:
    """Return one setting as a form shows it; `stated` are those that the file says."""
    default = None if item.default is PydanticUndefined else _plain(item.default)
    value = own.get(name, default)
    extra = item.json_schema_extra if isinstance(item.json_schema_extra, dict) else {}
    kind, choices = _kind(item.annotation)
    return SettingRow(
        section=section,
        name=name,
        help=str(item.description or ""),
        unit=str(extra.get("unit", "")),
        limits=range_text(item),
        kind=kind,
        choices=choices,
        default=default,
        value=value,
        changed=value != default,
        stated=name in stated,
        note=note_of(text, section, name) if name in stated else "",
    )


def _plain(value: Any) -> Any:
    """Return a default as JSON has it."""
    return json.loads(json.dumps(value, default=str))


def _kind(annotation: Any) -> tuple[str, list[str]]:
    """Return what kind of control a setting wants, and its choices."""
    for part in _parts(annotation):
        if get_origin(part) is Literal:
            return "choice", [str(choice) for choice in get_args(part)]
        known = {bool: "yes or no", int: "whole number", float: "number", str: "text", date: "date"}
        if part in known:
            return known[part], []
    return "other", []


def _parts(annotation: Any) -> Iterator[Any]:
    """Yield the kinds of value that an annotation allows, without None and limits."""
    if hasattr(annotation, "__metadata__"):
        yield from _parts(annotation.__origin__)
    elif get_origin(annotation) is Literal or not get_args(annotation):
        if annotation is not NoneType:
            yield annotation
    elif not (isinstance(annotation, type) and issubclass(annotation, BaseModel)):
        if get_origin(annotation) in (tuple, list, dict):
            yield get_origin(annotation)
        else:
            for part in get_args(annotation):
                yield from _parts(part)


@dataclass(frozen=True)
class SettingsPreview(PendingResult):
    """What a run would do after changes of settings, and what to think of before them."""

    cautions: list[str]


def preview_settings(folder: Folder, changes: Mapping[str, Any]) -> SettingsPreview:
    """Say which steps a run would do after these changes; nothing is changed.

    Parameters
    ----------
    changes : mapping
        Values by dotted name, such as ``{"gridding.spacing_m": 5.0}``; None resets to the default.

    Raises
    ------
    SettingsError
        For a wrong name or value.
    """
    tried = _tried(folder, changes)[0]
    found = pending(tried)
    crs = tried.settings.survey.crs
    moved = crs != folder.settings.survey.crs
    cautions = list(_elsewhere(folder, crs)) if moved else []
    return SettingsPreview(found.steps, found.seconds, found.files, cautions)


def _elsewhere(folder: Folder, crs: str) -> Iterator[str]:
    """Yield that the survey lies outside the area of a system, with the zone that fits."""
    from lodewalk.adapters.whereabouts import inside, why_outside
    from lodewalk.services.before_going.place import survey_place

    try:
        found = survey_place(folder)
        north, east = found.latitude_deg, found.longitude_deg
        if north is None or east is None:
            return
        if not inside(np.array([north]), np.array([east]), crs=crs, margin_deg=0.0)[0]:
            place = f"{abs(north):.3f}° {'N' if north >= 0 else 'S'}"
            place += f", {abs(east):.3f}° {'E' if east >= 0 else 'W'}"
            fits = why_outside(north, east, crs=crs)
            yield f"The survey lies at {place}, outside the area of {crs}. {fits}"
    except LodewalkError:
        return


def tried_settings(folder: Folder, changes: Mapping[str, Any]) -> Folder:
    """Return the survey as it would be with these changes; nothing is changed.

    Raises
    ------
    SettingsError
        For a wrong name or value.
    """
    return _tried(folder, changes)[0]


def change_settings(
    folder: Folder, changes: Mapping[str, Any], *, reason: str = "", who: str = ""
) -> SettingsResult:
    """Write changed settings into `survey.toml`; comments and all other lines stay.

    Parameters
    ----------
    changes : mapping
        As for `preview_settings`.
    reason, who : str
        Why, and who: stand behind each value as a comment, with the day.

    Raises
    ------
    SettingsError
        For a wrong name or value, or one that can't be written this way; nothing is changed then.
    """
    with locked(folder):
        tried, text = _tried(folder, changes, note=signed(reason, who))
        write_text(folder.settings_file, text)
    return settings(Folder(tried.path))


def _tried(folder: Folder, changes: Mapping[str, Any], *, note: str = "") -> tuple[Folder, str]:
    """Return the folder with changed settings, and the text that holds them."""
    file = folder.settings_file
    text = file.read_text(encoding="utf-8-sig")
    wanted = tomllib.loads(text)
    for name, value in changes.items():
        _put(wanted, name, value)
    made = check_settings(wanted, file=file.name)
    for name, value in changes.items():
        section, _, key = name.rpartition(".")
        text = with_value(text, section, key, value, note)
    if not _says(text, made, file.name):
        raise SettingsError(
            "This setting can't be changed from here.", file=file.name, remedy=BY_HAND
        )
    return replace(folder, tried=made), text


def _put(wanted: dict[str, Any], name: str, value: Any) -> None:
    """Put a value in its place among nested settings, or take it away."""
    section, _, key = name.rpartition(".")
    part: Any = wanted
    for step in section_path(section):
        part = part.setdefault(step, {})
        if not isinstance(part, dict):
            break
    known = _section_of(section)
    if not isinstance(part, dict) or (value is None and key not in known):
        raise SettingsError("There is no such setting.", value=name)
    part.pop(key, None) if value is None else part.update({key: value})


def _section_of(section: str) -> Collection[str]:
    """Return the names of a section's settings, be it one of named things; none where it isn't."""
    head, dot, _ = section.partition(".")
    found = SECTIONS.get(section) or (SECTIONS.get(f"{head}.NAME") if dot else None)
    return found.model_fields if found else ()


def _says(text: str, made: Any, name: str) -> bool:
    """Tell whether a text can be read and says these settings."""
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False
    return bool(check_settings(found, text=text, file=name) == made)
