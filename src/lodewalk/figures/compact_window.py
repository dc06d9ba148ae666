"""The window of a compact body: readings, model and what is left over, side by side."""

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.field import COLOUR_MAP
from lodewalk.figures.style import (
    INK,
    PAGE_WIDTH_MM,
    QUIET,
    axes_mm,
    heading,
    new_figure,
    number,
    styled,
    text_mm,
)
from lodewalk.records.interpreted import CompactBodies, CompactCurves

#: Left margin, width of a panel, gap between panels, room below and above them [mm].
_LEFT, _PANEL, _GAP, _BOTTOM, _TOP = 17.0, 43.0, 4.0, 14.0, 18.0
_TURN = np.linspace(0.0, 2.0 * np.pi, 121)


@styled
def draw_compact_window(bodies: CompactBodies, curves: CompactCurves, *, body: str) -> Figure:
    """Draw the readings around a compact body, its model there, and what is left over.

    Parameters
    ----------
    bodies, curves : CompactBodies, CompactCurves
        The bodies, and the readings under each.
    body : str
        Name of the body.

    Returns
    -------
    Figure
        180 mm wide; one scale both ways, one scale of colours for all three.

    Raises
    ------
    InputError
        For a name that no body with numbers has.
    """
    rows = [row for row in bodies.frame.iter_rows(named=True) if row["body"] == body]
    own = curves.frame.filter(curves.frame["body"] == body)
    if not rows or not own.height:
        raise InputError("No compact body of this name has numbers.", value=body)
    row, places = rows[0], own.select("easting_m", "northing_m").to_numpy()
    level = float(own["regional_nT"].median())  # type: ignore[arg-type]
    data, model = (own[name].to_numpy() for name in ("anomaly_nT", "model_nT"))
    panels = (("Readings", data - level), ("Model", model - level), ("Left over", data - model))
    ends = np.percentile(panels[0][1], [1.0, 99.0])
    colours = ScalarMappable(
        Normalize(min(ends[0], 0.0), max(ends[1], 0.0)), mpl.colormaps[COLOUR_MAP]
    )
    figure = new_figure(PAGE_WIDTH_MM, _BOTTOM + _PANEL + _TOP)
    spread = number(float(np.sqrt(np.mean(panels[2][1] ** 2))), 1)
    heading(
        figure,
        f"Compact body {body}",
        under=f"Colours less a level of {number(level, 0)} nT; left over: {spread} nT (rms).",
    )
    for nth, (title, values) in enumerate(panels):
        axes = axes_mm(figure, _LEFT + nth * (_PANEL + _GAP), _BOTTOM, _PANEL, _PANEL)
        _paint(axes, places, values, colours, row)
        axes.set_title(title, pad=3.0)
        axes.set_xlabel("Easting [m]", labelpad=1.5)
        if nth:
            axes.set_yticklabels([])
        else:
            axes.set_ylabel("Northing [m]", labelpad=1.5)
    left = _LEFT + 3 * (_PANEL + _GAP)
    bar = axes_mm(figure, left, _BOTTOM, 4.0, _PANEL)
    figure.colorbar(colours, cax=bar, extend="both", extendfrac=0.05)
    text_mm(figure, left, _BOTTOM + _PANEL + 3.5, "Anomaly [nT]", color=QUIET)
    return figure


def _paint(
    axes: Axes,
    places: NDArray[np.float64],
    values: NDArray[np.float64],
    colours: ScalarMappable,
    row: dict[str, float],
) -> None:
    """Paint values at readings, with the centre of the body and a circle of its depth."""
    middle = 0.5 * (places.min(axis=0) + places.max(axis=0))
    half = 0.52 * float(np.ptp(places, axis=0).max())
    axes.scatter(places[:, 0], places[:, 1], c=colours.to_rgba(values), s=5.0, linewidths=0.0)
    axes.plot(row["easting_m"], row["northing_m"], "+", color=INK, markersize=7.0)
    deep = row["centre_depth_m"]
    axes.plot(
        row["easting_m"] + deep * np.sin(_TURN),
        row["northing_m"] + deep * np.cos(_TURN),
        color=INK,
        linewidth=0.6,
    )
    axes.set(
        xlim=(middle[0] - half, middle[0] + half),
        ylim=(middle[1] - half, middle[1] + half),
        aspect="equal",
        facecolor="white",
    )
    axes.xaxis.set_major_locator(MaxNLocator(2, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(3, integer=True))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.0f}"))
