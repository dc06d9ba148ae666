"""What the body that is sought should look like: profiles with the noise band, and a map."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from lodewalk.figures.field import Stretch, outer_edges, paint_contours, paint_grid, stretch_of
from lodewalk.figures.furniture import colour_bar, coordinate_ticks, north_arrows, scale_bar
from lodewalk.figures.map_frame import write_legend
from lodewalk.figures.style import (
    CURVE,
    FILL,
    INK,
    PAGE_WIDTH_MM,
    QUIET,
    RULE,
    SMALL_PT,
    axes_mm,
    heading,
    new_figure,
    number,
    styled,
)
from lodewalk.records.grid import Grid

_LEFT, _RIGHT, _TOP = 17.0, 6.0, 14.0
_PROFILE, _BETWEEN, _MAP, _BELOW = 52.0, 14.0, 108.0, 22.0
_PANEL = 46.0
#: Styles of the profiles: across the strike, and along the lines where that is another azimuth.
_CURVES = ((CURVE, "-"), (FILL, "--"))
#: Colours end at the whole range: a body's peak is what the map is for.
_WHOLE = {"low": 0.0, "high": 100.0}


@styled
def draw_expected_anomaly(
    grid: Grid,
    found: Mapping[str, Any],
    *,
    title: str,
    crs_title: str,
    convergence_deg: float,
) -> Figure:
    """Draw the expected anomaly as profiles through the body's middle and as a map.

    Parameters
    ----------
    grid : Grid
        Expected anomaly [nT].
    found : mapping
        The document of the step `feasibility`.
    title, crs_title : str
        Title and the words for the coordinate reference system.
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].

    Returns
    -------
    Figure
        180 mm wide.

    Examples
    --------
    >>> values = np.add.outer(np.arange(9.0), np.arange(9.0))
    >>> grid = Grid(values, 600000.0, 7240000.0, 5.0, "EPSG:32722", "nT", "expected_anomaly")
    >>> curve = {"name": "across the strike", "azimuth_deg": 90.0, "distance_m": [-5.0, 5.0],
    ...          "anomaly_nT": [0.0, 9.0]}
    >>> found = {"profiles": [curve], "noise": {"reading_nT": 1.0}, "summary": "Go.",
    ...          "middle": {"easting_m": 600020.0, "northing_m": 7240020.0}, "outline_m": [],
    ...          "site": {"declination_deg": -19.0, "inclination_deg": -38.0},
    ...          "body": {"kind": "dyke"}, "plan": {"line_azimuth_deg": 90.0}}
    >>> figure = draw_expected_anomaly(grid, found, title="Hill", crs_title="UTM zone 22S",
    ...                                convergence_deg=0.4)
    >>> round(figure.get_figwidth() * 25.4)
    180
    """
    height = _TOP + _PROFILE + _BETWEEN + _MAP + _BELOW
    figure = new_figure(PAGE_WIDTH_MM, height)
    heading(figure, title, under=found["summary"])
    top = height - _TOP - _PROFILE
    profile = axes_mm(figure, _LEFT, top, PAGE_WIDTH_MM - _LEFT - _RIGHT, _PROFILE, gid="profile")
    _draw_profiles(profile, found)
    room = PAGE_WIDTH_MM - _LEFT - _PANEL - 6.0
    side = min(room, _MAP)
    plan = axes_mm(figure, _LEFT, _BELOW, side, side, gid="map")
    stretch = stretch_of(grid, **_WHOLE)
    west, east, south, north = outer_edges(grid)
    scale = side / (east - west)
    plan.set(xlim=(west, east), ylim=(south, north), facecolor="white")
    paint_grid(plan, grid, stretch, mm_per_m=scale, shading=False)
    paint_contours(plan, grid, stretch)
    _draw_body(plan, found)
    _draw_lines(plan, found)
    plan.set(xlim=(west, east), ylim=(south, north))
    _furnish(figure, plan, stretch, found, crs_title, scale, side, convergence_deg, grid)
    return figure


def _draw_profiles(axes: Axes, found: Mapping[str, Any]) -> None:
    """Draw the curves over the band of the noise of one reading."""
    noise = float(found["noise"]["reading_nT"])
    ends = found["profiles"][0]["anomaly_nT"]
    level = 0.5 * (ends[0] + ends[-1]) if found["body"]["kind"] == "contact" else 0.0
    axes.axhspan(
        level - 1.645 * noise, level + 1.645 * noise, color=RULE, alpha=0.6, lw=0,
        label=f"noise of one reading, 90 %: ±{number(1.645 * noise, 1)} nT",
    )  # fmt: skip
    for (colour, dashes), curve in zip(_CURVES, found["profiles"], strict=False):
        axes.plot(
            curve["distance_m"], curve["anomaly_nT"], color=colour, linestyle=dashes, lw=1.0,
            label=f"{curve['name']}, towards {number(curve['azimuth_deg'] % 360, 0)}°",
        )  # fmt: skip
    axes.axvline(0.0, color=QUIET, lw=0.5, linestyle=":")
    axes.grid(color=RULE, linewidth=0.3)
    axes.margins(x=0.0)
    axes.set_xlabel("Distance from the body's middle [m]", labelpad=1.5)
    axes.set_ylabel("Expected anomaly [nT]")
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.22 * (high - low))  # room for the legend above the curves
    axes.legend(loc="upper right", fontsize=SMALL_PT, edgecolor=RULE, framealpha=0.9, ncols=3)


def _draw_body(axes: Axes, found: Mapping[str, Any]) -> None:
    """Draw the outline of the body's top."""
    middle = found["middle"]
    for ring in found["outline_m"]:
        corners = np.asarray(ring, dtype=float)
        axes.plot(
            corners[:, 0] + middle["easting_m"], corners[:, 1] + middle["northing_m"],
            color="white", lw=1.1, solid_joinstyle="miter",
            path_effects=[withStroke(linewidth=2.2, foreground=INK)],
        )  # fmt: skip


def _draw_lines(axes: Axes, found: Mapping[str, Any]) -> None:
    """Draw the lines of the plan as they might fall, one of them through the body's middle."""
    middle, plan = found["middle"], found["plan"]
    spacing = plan.get("line_spacing_m")
    if not spacing:
        return
    turn = np.radians(plan["line_azimuth_deg"])
    along, across = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    reach = float(np.hypot(np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())))
    count = int(min(reach / spacing, 60))
    for number_of_line in range(-count, count + 1):
        foot = number_of_line * spacing * across + [middle["easting_m"], middle["northing_m"]]
        ends = np.array([foot - reach * along, foot + reach * along])
        axes.plot(*ends.T, color="white", lw=0.35, alpha=0.8, zorder=1.5)


def _furnish(
    figure: Figure,
    axes: Axes,
    stretch: Stretch,
    found: Mapping[str, Any],
    crs_title: str,
    scale: float,
    side: float,
    convergence_deg: float,
    grid: Grid,
) -> None:
    """Draw coordinates, scale bar, colour bar, arrows and legend round the map."""
    coordinate_ticks(axes, mm_per_m=scale)
    axes.set_xlabel("Easting [m]", labelpad=1.5)
    axes.set_ylabel("Northing [m]", labelpad=1.5)
    panel = _LEFT + side + 6.0
    scale_bar(figure, left_mm=_LEFT, bottom_mm=2.0, room_mm=side, mm_per_m=scale)
    top = _BELOW + side
    colour_bar(
        figure, stretch, left_mm=panel, bottom_mm=top - 57.0, height_mm=40.0, unit="nT",
        name=grid.title,
    )  # fmt: skip
    write_legend(figure, panel, top - 70.0, _PANEL - 3.0, _words(found, crs_title))
    north_arrows(
        figure, left_mm=panel, bottom_mm=1.0, convergence_deg=convergence_deg,
        declination_deg=found["site"]["declination_deg"],
    )  # fmt: skip


def _words(found: Mapping[str, Any], crs_title: str) -> list[str]:
    """Return what stands beside the map."""
    kind = found["body"]["kind"]
    edge = {"contact": "edge of the magnetic side", "folded bed": "the bed from above"}.get(
        kind, "top of the body"
    )
    texts = [
        crs_title,
        f"Heavy white line: {edge}; where it lies isn't known.",
        f"Field inclination {number(found['site']['inclination_deg'], 1)}°.",
    ]
    if found["plan"].get("line_spacing_m"):
        texts.append(
            f"Thin white: lines {number(found['plan']['line_spacing_m'], 0)} m apart, towards "
            f"{number(found['plan']['line_azimuth_deg'], 0)}°."
        )
    return texts
