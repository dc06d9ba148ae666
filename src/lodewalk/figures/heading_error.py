"""The heading error against the heading: correction, its 90 % band and the stands of tests."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from lodewalk.errors import InputError
from lodewalk.figures.style import (
    CURVE,
    FILL,
    INK,
    RULE,
    axes_mm,
    heading,
    new_figure,
    number,
    styled,
)
from lodewalk.records.document import Document

NINETY = 1.645
WIDTH_MM, PANEL_MM, TOP_MM, FOOT_MM, GAP_MM = 120.0, 42.0, 16.0, 13.0, 12.0


@styled
def draw_heading_error(found: Document) -> Figure:
    """Draw the heading error of each rover.

    Parameters
    ----------
    found : Document
        The product ``heading``: ``rovers``, each with ``instrument``, ``curve`` and ``stands``.

    Returns
    -------
    Figure
        120 mm wide, one panel a rover. The band is the error ± 1.645 sd; points are the stands of
        turn-around tests against the level of their test, with ± 1.645 sd.

    Raises
    ------
    InputError
        When there is no rover with lines.

    Examples
    --------
    >>> draw_heading_error(Document({"rovers": []}))
    Traceback (most recent call last):
    lodewalk.errors.InputError: No rover has walked a line, so there is no heading error to draw.
    """
    rovers = found["rovers"]
    if not rovers:
        raise InputError("No rover has walked a line, so there is no heading error to draw.")
    height = TOP_MM + FOOT_MM + len(rovers) * PANEL_MM + (len(rovers) - 1) * GAP_MM
    figure = new_figure(WIDTH_MM, height)
    heading(figure, "Heading error")
    for place, rover in enumerate(rovers):
        bottom = height - TOP_MM - (place + 1) * PANEL_MM - place * GAP_MM
        axes = axes_mm(figure, 18.0, bottom, WIDTH_MM - 24.0, PANEL_MM)
        _panel(axes, rover)
        if place == len(rovers) - 1:
            axes.set_xlabel("Heading, clockwise from grid north [°]")
    return figure


def _panel(axes: Axes, rover: Mapping[str, Any]) -> None:
    """Draw one rover; the first heading is drawn again at 360 degrees."""
    rows = [*rover["curve"], rover["curve"][0]]
    at = np.array([row["heading_deg"] for row in rows], dtype=float)
    at[-1] += 360.0
    value = np.array([row["correction_nT"] for row in rows])
    half = NINETY * np.array([row["sd_nT"] for row in rows])
    axes.axhline(0.0, color=RULE, linewidth=0.6)
    axes.fill_between(at, value - half, value + half, color=CURVE, alpha=0.2, linewidth=0)
    axes.plot(at, value, color=CURVE, linewidth=1.2)
    if rover["stands"]:
        facing, level, error = (
            [stand[key] for stand in rover["stands"]]
            for key in ("heading_deg", "value_nT", "sd_nT")
        )
        axes.errorbar(
            facing, level, yerr=NINETY * np.array(error), fmt="o", color=FILL, markersize=3,
            linewidth=0.8, ecolor=FILL,
        )  # fmt: skip
    axes.set(xlim=(0, 360), xticks=range(0, 361, 45), ylabel=f"{rover['instrument']} [nT]")
    axes.yaxis.set_major_formatter(lambda tick, _: number(tick, 1))
    axes.tick_params(colors=INK)
