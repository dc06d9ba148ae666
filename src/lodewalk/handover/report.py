"""The report as one HTML file that needs nothing else: no script, no other file, no network."""

import base64
import re
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from lodewalk.figures.style import MARKS, number
from lodewalk.handover.content import ReportContent
from lodewalk.handover.rocks_words import ROCK_CAUTIONS, ROCK_GLOSSARY
from lodewalk.handover.words import CAUTIONS, GLOSSARY


def build_report(content: ReportContent) -> str:
    """Return the report as one self-contained HTML page in English.

    Parameters
    ----------
    content : ReportContent
        Everything that it says; text is escaped.

    Returns
    -------
    str
        The same text for the same content.

    Examples
    --------
    >>> from lodewalk.handover.content import Job, Provenance
    >>> job = Job("Hill <north>", "EPSG:32722", "WGS 84 / UTM zone 22S")
    >>> page = build_report(ReportContent(job, Provenance()))
    >>> "Hill &lt;north&gt;" in page and "<script" not in page
    True
    """
    template = page_environment().get_template("report.html.j2")
    glossary = sorted((*GLOSSARY, *ROCK_GLOSSARY), key=lambda word: word.label.lower())
    return template.render(
        content=content,
        marks=MARKS,
        cautions=CAUTIONS,
        rock_cautions=ROCK_CAUTIONS,
        glossary=glossary,
    )


def page_environment() -> Environment:
    """Return the template environment: everything escaped, nothing undefined."""
    environment = Environment(
        loader=PackageLoader("lodewalk.handover", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["num"] = _num
    environment.filters["small"] = _small
    environment.filters["percent"] = _percent
    environment.filters["azimuth"] = _azimuth
    environment.filters["data_uri"] = _data_uri
    environment.filters["anchor"] = _anchor
    return environment


def _num(value: Any, decimals: int = 0) -> str:
    """Return a number, or a dash where it is missing."""
    return "–" if value is None or value != value else number(value, decimals)


def _small(value: float | None) -> str:
    """Return a number with two decimals, three below a hundredth, or a dash."""
    return _num(value, 3 if value is not None and value < 0.01 else 2)


def _percent(share: float | None, decimals: int = 0) -> str:
    """Return a share in per cent, or a dash where it is missing."""
    return _num(None if share is None else 100 * share, decimals)


def _azimuth(degrees: float | None) -> str:
    """Return an azimuth in whole degrees from 0 to 359, or a dash where it is missing."""
    return _num(None if degrees is None else round(degrees) % 360)


def _data_uri(png: bytes) -> str:
    """Return PNG bytes as a data address."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def _anchor(title: str) -> str:
    """Return a heading as the name of its place in a page."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
