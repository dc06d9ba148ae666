"""Column maps as text: TOML out, and one clear error for a wrong key or value."""

import json
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from lodewalk.errors import SettingsError


def settings_error(
    error: ValidationError,
    *,
    model: type[BaseModel],
    file: str | Path | None,
) -> SettingsError:
    """Turn the first thing found wrong into one error.

    Parameters
    ----------
    error : ValidationError
        What the validation of `model` raised.
    model : type
        The settings class, whose fields describe what each must be.
    file : str or path, optional
        The file of settings.
    """
    first = error.errors()[0]
    cause = first.get("ctx", {}).get("error")
    if isinstance(cause, SettingsError):
        return SettingsError(cause.rule, file=file, value=cause.value, remedy=cause.remedy)
    path = _key_path(first, model)
    key = ".".join(str(part) for part in path)
    if first["type"] == "extra_forbidden":
        return _unknown(key, path, model, file)
    if first["type"] == "missing":
        return SettingsError(f"{key} is missing: {_description(path, model)}.", file=file)
    return SettingsError(
        f"{key} must be {_description(path, model)}.", file=file, value=first["input"]
    )


def _key_path(first: ErrorDetails, model: type[BaseModel]) -> list[str | int]:
    """Return the keys that lead to the wrong value, without the branches of a union."""
    path: list[str | int] = []
    level: type[BaseModel] | None = model
    for part in first["loc"]:
        if level is None and not (path[-1:] and path[-1] in ("columns", "fix", "pegs")):
            break
        path.append(part)
        if isinstance(part, int):
            continue
        level = _submodel(level, part) if level is not None else None
    return path


def _submodel(model: type[BaseModel], name: str) -> type[BaseModel] | None:
    """Return the class of a part, None for a plain value."""
    info = model.model_fields.get(name)
    if info is None:
        return None
    kind = info.annotation
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    inner = getattr(kind, "__args__", ())
    return next((k for k in inner if isinstance(k, type) and issubclass(k, BaseModel)), None)


def _walk(path: Sequence[str | int], model: type[BaseModel]) -> tuple[type[BaseModel] | None, str]:
    """Return the innermost class on the path and the description of the last field met."""
    level: type[BaseModel] | None = model
    text = "a known setting"
    for part in path:
        if isinstance(part, int) or level is None:
            continue
        info = level.model_fields.get(part)
        if info is not None:
            text = info.description or text
            level = _submodel(level, part)
    return level, text


def _description(path: Sequence[str | int], model: type[BaseModel]) -> str:
    """Return what a setting must be."""
    if path and path[0] == "columns" and len(path) > 1:
        return "the file's name of a column, or its number from 1"
    return _walk(path, model)[1]


def _unknown(
    key: str, path: Sequence[str | int], model: type[BaseModel], file: str | Path | None
) -> SettingsError:
    """Return the error for an unknown key, with the keys that exist."""
    level = _walk(path[:-1], model)[0] or model
    choices = list(level.model_fields)
    near = get_close_matches(str(path[-1]), choices, n=1)
    hint = f" Did you mean {near[0]}?" if near else ""
    return SettingsError(
        f"{key} is an unknown key of a column map.",
        file=file,
        remedy=f"The keys are {', '.join(choices)}.{hint}",
    )


def to_toml(values: Mapping[str, Any]) -> str:
    """Return plain settings as TOML; None is left out.

    Parameters
    ----------
    values : mapping
        Texts, numbers, truth values, lists of these or of mappings, and mappings.

    Examples
    --------
    >>> print(to_toml({"skip": 2, "time": {"zone": "UTC", "year": None}}), end="")
    skip = 2
    <BLANKLINE>
    [time]
    zone = "UTC"
    """
    plain = {key: value for key, value in values.items() if not isinstance(value, Mapping)}
    lines = [f"{_key(key)} = {_value(value)}" for key, value in plain.items() if value is not None]
    for key, table in values.items():
        if isinstance(table, Mapping):
            lines += ["", f"[{_key(key)}]"]
            lines += [f"{_key(k)} = {_value(v)}" for k, v in table.items() if v is not None]
    return "\n".join(lines) + "\n"


def _key(text: str) -> str:
    """Return a key, quoted where it must be."""
    bare = text.isascii() and text.replace("_", "").replace("-", "").isalnum()
    return text if bare else _value(text)


def _value(value: Any) -> str:
    """Return one value as TOML writes it."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float) and value.is_integer():
        return f"{value:.1f}"
    return json.dumps(value)
