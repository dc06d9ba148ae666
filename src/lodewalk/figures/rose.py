"""The rose of strikes: length of lineaments by direction, and their mean with its error."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Wedge

from lodewalk.figures.style import (
    CURVE,
    FILL,
    INK,
    QUIET,
    RULE,
    SMALL_PT,
    axes_mm,
    heading,
    new_figure,
    nice_step,
    number,
    styled,
    text_mm,
    wrapped,
)

_WIDTH, _HEIGHT, _SIDE = 88.0, 104.0, 70.0


@styled
def draw_rose(rose: Mapping[str, Any], *, title: str) -> Figure:
    """Draw lengths by strike as petals of equal area scale, north up.

    Parameters
    ----------
    rose : mapping
        ``edges_deg`` (0 to 180), ``length_m`` in each petal, ``mean_deg`` and ``sd_deg`` or None,
        ``number`` of lineaments: as in the notes of the step trace.
    title : str
        Title of the figure.

    Returns
    -------
    Figure
        88 mm wide.

    Notes
    -----
    The area of a petal, not its radius, is as the length, so that long petals don't look longer
    than they are. A strike has no sense, so each petal stands on both sides.

    Examples
    --------
    >>> rose = {"edges_deg": [0.0, 90.0, 180.0], "length_m": [100.0, 400.0], "mean_deg": 120.0,
    ...         "sd_deg": 5.0, "number": 4}
    >>> figure = draw_rose(rose, title="Strikes")
    >>> round(figure.get_figwidth() * 25.4)
    88
    """
    figure = new_figure(_WIDTH, _HEIGHT)
    heading(figure, title)
    left, bottom = (_WIDTH - _SIDE) / 2, _HEIGHT - 14 - _SIDE
    axes = axes_mm(figure, left, bottom, _SIDE, _SIDE, gid="rose")
    axes.set(xlim=(-1.18, 1.18), ylim=(-1.18, 1.18), aspect="equal")
    axes.axis("off")
    lengths, edges = np.asarray(rose["length_m"], dtype=float), np.asarray(rose["edges_deg"])
    largest = float(lengths.max(initial=0.0))
    top = nice_step(largest) if largest > 0 else 1.0
    _rings(axes, top)
    for first, last, length in zip(edges[:-1], edges[1:], lengths, strict=True):
        for turn in (0.0, 180.0):
            axes.add_patch(
                Wedge((0, 0), float(np.sqrt(length / top)), 90 - last - turn, 90 - first - turn,
                      facecolor=CURVE, edgecolor="white", lw=0.4)
            )  # fmt: skip
    _mean(axes, rose)
    for row, words in enumerate(_words(rose, top)):
        text_mm(figure, 6, bottom - 5 - 3.5 * row, words, fontsize=SMALL_PT)
    return figure


def _rings(axes: Axes, top: float) -> None:
    """Draw rings at whole and half of the largest length, and the four directions."""
    turn = np.linspace(0, 2 * np.pi, 181)
    for share in (0.5, 1.0):
        radius = np.sqrt(share)
        axes.plot(radius * np.cos(turn), radius * np.sin(turn), color=RULE, lw=0.6, zorder=0)
        axes.text(
            radius * np.sin(0.39), radius * np.cos(0.39), f"{number(share * top)} m",
            fontsize=SMALL_PT, color=QUIET, ha="center", va="center", zorder=4,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip
    for name, azimuth in (("N", 0), ("E", 90), ("S", 180), ("W", 270)):
        x, y = np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))
        axes.plot([0.98 * x, 1.03 * x], [0.98 * y, 1.03 * y], color=INK, lw=0.8)
        axes.text(1.1 * x, 1.1 * y, name, ha="center", va="center", fontsize=SMALL_PT)


def _mean(axes: Axes, rose: Mapping[str, Any]) -> None:
    """Draw the mean strike and its 90 % interval on the rim."""
    if rose["mean_deg"] is None:
        return
    half = 1.645 * rose["sd_deg"]
    for turn in (0.0, 180.0):
        azimuth = np.radians(rose["mean_deg"] + turn)
        axes.plot([0, np.sin(azimuth)], [0, np.cos(azimuth)], color=FILL, lw=1.4, ls=(0, (4, 2)))
        rim = np.radians(np.linspace(-half, half, 21)) + azimuth
        axes.plot(1.03 * np.sin(rim), 1.03 * np.cos(rim), color=FILL, lw=2.5, solid_capstyle="butt")


def _words(rose: Mapping[str, Any], top: float) -> list[str]:
    """Return what the petals and the dashed line mean."""
    texts = [
        f"{rose['number']} lineaments; the area of a petal is as the length of those that strike "
        f"that way, outer ring {number(top)} m."
    ]
    if rose["mean_deg"] is None:
        texts.append("No mean: too few, or the strikes may as well be spread evenly.")
    else:
        texts.append(
            f"Dashed: mean strike {number(rose['mean_deg'], 1)} ± "
            f"{number(1.645 * rose['sd_deg'], 1)}° (90 %), weighed by length, from grid north."
        )
    return [row for text in texts for row in wrapped(text, _WIDTH - 12, size_pt=SMALL_PT)]
