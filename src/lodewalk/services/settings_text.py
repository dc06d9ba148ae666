"""The text of `survey.toml`: one value changed, all comments and other lines as they were."""

import json
import re
import tomllib
from typing import Any

from lodewalk.survey.settings import default_text, toml_value
from lodewalk.survey.settings_table import SECTIONS


def section_path(section: str) -> list[str]:
    """Return the nested names of a section; an instrument's own name may hold dots."""
    head, dot, rest = section.partition(".")
    return [head, rest] if dot and f"{head}.NAME" in SECTIONS else section.split(".")


def with_value(text: str, section: str, key: str, value: Any, note: str = "") -> str:
    """Return the text with one setting written, put in place of its comment, or taken back.

    Parameters
    ----------
    text : str
        A `survey.toml`.
    section, key : str
        Which setting.
    value : object
        None takes it back: the line shows the default again, as a comment.
    note : str
        Why, and who, when: stands behind the value, as a comment.
    """
    lines = text.split("\n")
    first, last = _section_lines(lines, section)
    written = f"{key} = {toml_value(value)}" if value is not None else _unset(section, key)
    written += f"  # {note}" if note else ""
    pattern = re.compile(rf"\s*(# *)?\"?{re.escape(key)}\"?\s*=")
    found = [place for place in range(first, last) if pattern.match(lines[place])]
    live = [place for place in found if not lines[place].lstrip().startswith("#")]
    if value is None:
        for place in live:
            lines[place] = written
    elif live or found:
        lines[(live or found)[0]] = written
    elif first < len(lines) or last:
        if first == last == len(lines):
            lines += ["", f"[{_header(section)}]"]
            last = len(lines)
        lines.insert(last, written)
    return "\n".join(lines)


def _unset(section: str, key: str) -> str:
    """Return the comment that shows the default of a setting nobody set."""
    head, _, _ = section.partition(".")
    known = SECTIONS.get(section) or SECTIONS[f"{head}.NAME"]
    return f"# {key} = {default_text(known.model_fields[key])}".rstrip()


def _header(section: str) -> str:
    """Return the name of a section as TOML writes it."""
    return ".".join(
        part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else json.dumps(part, ensure_ascii=False)
        for part in section_path(section)
    )


def _section_lines(lines: list[str], section: str) -> tuple[int, int]:
    """Return the first line of a section's values and the line after its last."""
    heads = {section, _header(section)}
    starts = [
        place
        for place, line in enumerate(lines)
        if re.match(r"\s*\[", line) and line.split("]")[0].strip().lstrip("[").strip() in heads
    ]
    if not starts:
        return len(lines), len(lines)
    first = starts[0] + 1
    ends = (place for place in range(first, len(lines)) if re.match(r"\s*\[", lines[place]))
    last = next(ends, len(lines))
    while last > first and not lines[last - 1].strip():
        last -= 1
    return first, last


def note_of(text: str, section: str, key: str) -> str:
    """Return what stands behind a setting's value as a comment: why it was changed, who, when."""
    lines = text.split("\n")
    first, last = _section_lines(lines, section)
    for line in lines[first:last]:
        if re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line):
            return _comment(line)
    return ""


def _comment(line: str) -> str:
    """Return the comment of a line, told from a # inside its value by what can be read."""
    for found in re.finditer("#", line):
        try:
            tomllib.loads(line[: found.start()])
        except tomllib.TOMLDecodeError:
            continue
        return line[found.end() :].strip()
    return ""
