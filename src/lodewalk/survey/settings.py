"""Reading, writing and picking settings."""

import json
import re
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from lodewalk.errors import SettingsError
from lodewalk.survey.settings_base import Section
from lodewalk.survey.settings_table import SECTIONS, Instrument, Settings

#: Sections of which there is one for each of these.
NAMED = {"instruments": "instrument", "older": "older survey"}


def read_settings(path: Path) -> Settings:
    """Read and check `survey.toml`.

    Raises
    ------
    SettingsError
        With the line of the first wrong name or value.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SettingsError(
            "The settings must be UTF-8 text.",
            file=path.name,
            line=path.read_bytes().count(b"\n", 0, error.start) + 1,
            remedy="Save the file as UTF-8.",
        ) from error
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        raise SettingsError(
            f"The settings are not valid TOML: {error}.",
            file=path.name,
            line=int(found[1]) if found else None,
            remedy="Mend the line, or compare it with the settings reference.",
        ) from error
    return check_settings(values, text=text, file=path.name)


def check_settings(values: Mapping[str, Any], *, text: str = "", file: str = "") -> Settings:
    """Turn plain values into settings, or raise one clear error for the first wrong one."""
    try:
        settings = Settings.model_validate(values)
    except ValidationError as error:
        first = error.errors()[0]
        place = [str(part) for part in first["loc"]]
        raise SettingsError(
            f"Setting {'.'.join(place)}: {_rule(first['type'], first['msg'])}",
            file=file or None,
            line=_line_of(text, place),
            value=None if first["type"] == "missing" else first["input"],
            remedy=_remedy(first["type"], place),
        ) from error
    _check_given(settings, text=text, file=file)
    return settings


def _check_given(settings: Settings, *, text: str, file: str) -> None:
    """Raise where a magnetisation is said to be given and its direction isn't."""
    lacking = [
        name
        for name in ("magnetisation_inclination_deg", "magnetisation_declination_deg")
        if getattr(settings.transforms, name) is None
    ]
    if settings.fits.magnetisation == "given" and lacking:
        raise SettingsError(
            "Setting fits.magnetisation: A given magnetisation needs its direction.",
            file=file or None,
            line=_line_of(text, ["fits", "magnetisation"]),
            value="given",
            remedy=f"Set {' and '.join(lacking)} in [transforms].",
        )


def _rule(kind: str, message: str) -> str:
    """Return the rule that was broken as a sentence."""
    known = {
        "missing": "This setting is needed.",
        "extra_forbidden": "There is no such setting.",
        "string_pattern_mismatch": "The text does not have the form wanted.",
        "model_type": "This must be a section of settings.",
    }
    told = message.removeprefix("Value error, ").replace("Input", "The value")
    return known.get(kind) or told.rstrip(".") + "."


def _remedy(kind: str, place: list[str]) -> str:
    """Say what can be done about a wrong setting."""
    if kind != "extra_forbidden":
        return ""
    name = ".".join(place[:-1])
    section = SECTIONS.get(f"{place[0]}.NAME" if place[0] in NAMED else name)
    known = section.model_fields if section else Settings.model_fields
    return f"Names here are {', '.join(known)}."


def _line_of(text: str, place: list[str]) -> int | None:
    """Find the line on which a setting stands; None when it is not written there."""
    section = ""
    for number, line in enumerate(text.splitlines(), 1):
        head = re.match(r"\s*\[(?P<name>[^\]]+)\]", line)
        if head:
            section = head["name"].replace('"', "")
            if section == ".".join(place):
                return number
        key = re.match(r"\s*\"?(?P<name>[\w-]+)\"?\s*=", line)
        if key and [*filter(None, section.split(".")), key["name"]] == place:
            return number
    return None


def picked(settings: Settings, names: tuple[str, ...]) -> dict[str, Any]:
    """Return the settings with these dotted names as plain values.

    ``instruments.*.NAME`` gives the value of each instrument that has a section, and under
    ``*`` the default for all others.

    Examples
    --------
    >>> settings = check_settings({"survey": {"name": "A", "crs": "EPSG:31982"}})
    >>> picked(settings, ("diurnal.interpolation",))
    {'diurnal.interpolation': 'linear'}
    """
    plain = settings.model_dump(mode="json")
    result: dict[str, Any] = {}
    for name in names:
        _, star, tail = name.partition(".*.")
        if star:
            own = {key: one.plain() for key, one in settings.instruments.items()}
            items = {"*": Instrument().plain(), **own}
            result[name] = {key: items[key][tail] for key in sorted(items)}
        else:
            result[name] = _inside(plain, name)
    return result


def _inside(plain: dict[str, Any], name: str) -> Any:
    """Return the value with a dotted name."""
    for part in name.split("."):
        plain = plain[part]
    return plain


def settings_text(values: Mapping[str, Any]) -> str:
    """Return a commented `survey.toml`; settings not in `values` stand as comments.

    Parameters
    ----------
    values : mapping
        Nested plain values, such as ``{"survey": {"name": "North hill"}}``.
    """
    lines = [
        "# Settings of this survey. A line that begins with # shows the default;",
        "# take the # away and change the value to set your own.",
        "",
        "format = 1",
    ]
    for name, section in SECTIONS.items():
        kind = name.removesuffix(".NAME")
        if kind in NAMED:
            for key, own in values.get(kind, {}).items():
                lines += _section_lines(f"{kind}.{_quoted_key(key)}", section, own)
            if not values.get(kind):
                lines += ["", f"# One section for each {NAMED[kind]}, named as in `add`:"]
                lines += [f"# [{name}]", *_section_lines("", section, {})[1:]]
        else:
            lines += _section_lines(name, section, values.get(name, {}))
    return "\n".join(lines) + "\n"


def _section_lines(name: str, section: type[Section], own: Mapping[str, Any]) -> list[str]:
    """Return the lines of one section."""
    lines = ["", f"[{name}]"] if name else [""]
    for key, item in section.model_fields.items():
        lines.append(f"# {help_text(item)}")
        value = own.get(key, item.default)
        written = "" if value is None else toml_value(value)
        lines.append(f"{'' if key in own else '# '}{key} = {written}".rstrip())
    return lines


def range_text(item: FieldInfo) -> str:
    """Return unit, range or choices of a setting for print, such as ``m, above 0``."""
    words = {"ge": "at least", "gt": "above", "le": "at most", "lt": "below"}
    schema = item.json_schema_extra if isinstance(item.json_schema_extra, dict) else {}
    parts = [str(schema["unit"])] if schema.get("unit") else []
    if get_origin(item.annotation) is Literal:
        parts.append(" | ".join(str(choice) for choice in get_args(item.annotation)))
    parts += [
        f"{word} {getattr(rule, name):g}"
        for rule in _rules(item)
        for name, word in words.items()
        if getattr(rule, name, None) is not None
    ]
    return ", ".join(parts)


def help_text(item: FieldInfo) -> str:
    """Return the help of a setting with unit and range, such as ``Height. [m, at least 0]``."""
    limits = range_text(item)
    return f"{item.description} [{limits}]" if limits else str(item.description)


def _rules(item: FieldInfo) -> list[Any]:
    """Return the limits of a setting, also those inside an optional one."""
    inner = getattr(item.annotation, "__args__", ())
    nested = [rule for part in inner for rule in getattr(part, "__metadata__", ())]
    return [*item.metadata, *(m for rule in nested for m in getattr(rule, "metadata", ()))]


def default_text(item: FieldInfo) -> str:
    """Return the default of a setting for print."""
    if item.default is PydanticUndefined or item.default is None:
        return ""
    return toml_value(item.default)


def _quoted_key(key: str) -> str:
    """Return a TOML key, quoted where it must be."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key)


def toml_value(value: object) -> str:
    """Return one value as TOML.

    Examples
    --------
    >>> toml_value(True), toml_value(0.5), toml_value("a")
    ('true', '0.5', '"a"')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False)
