"""What stands around a map: coordinates, scale bar, north arrows and colour bar."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter

from lodewalk.figures.field import Stretch
from lodewalk.figures.style import (
    INK,
    QUIET,
    SMALL_PT,
    TEXT_PT,
    axes_mm,
    canvas_mm,
    decimals_for,
    multiples,
    nice_step,
    number,
)

#: Arrows closer than this are drawn apart, and the figure says so [degrees].
_CLOSEST_ARROWS_DEG = 17.0
#: The first northing is raised where it would run into the first easting [mm].
_CORNER_MM = 6.0
#: The last northing is lowered where it would run into the title [mm].
_EDGE_MM = 5.0


def coordinate_ticks(axes: Axes, *, mm_per_m: float, step_m: float | None = None) -> float:
    """Write full coordinates in metres along a map's frame; return the step [m]."""
    step = step_m or nice_step(18 / mm_per_m)
    east, north = multiples(*axes.get_xlim(), step), multiples(*axes.get_ylim(), step)
    ends = (
        (t[0] - low) * mm_per_m if t.size else np.inf
        for t, low in ((east, axes.get_xlim()[0]), (north, axes.get_ylim()[0]))
    )
    for axis, ticks in ((axes.xaxis, east), (axes.yaxis, north)):
        labels = [number(value, decimals_for(step)) for value in ticks]
        axis.set_major_locator(FixedLocator(ticks.tolist()))
        axis.set_major_formatter(FixedFormatter(labels))
    axes.tick_params(which="major", labelsize=SMALL_PT, top=True, right=True, direction="out")
    names = axes.get_yticklabels()
    for name in names:
        name.set(rotation=90, va="center")
    if names and (axes.get_ylim()[1] - north[-1]) * mm_per_m < _EDGE_MM:
        names[-1].set(va="top")
    if names and max(ends) < _CORNER_MM:
        names[0].set(va="bottom")
    return step


def scale_bar(
    figure: Figure, *, left_mm: float, bottom_mm: float, room_mm: float, mm_per_m: float
) -> float:
    """Draw a scale bar, 7 mm high, of a round length that fits `room_mm`; return its length [m]."""
    length = nice_step(0.24 * (room_mm - 8) / mm_per_m)
    width = length * mm_per_m
    axes = canvas_mm(figure, left_mm - 6, bottom_mm, width + 18, 7)
    axes.set_gid("scale bar")
    for index in range(4):
        colour = INK if index % 2 == 0 else "white"
        place = (6 + index * width / 4, 4.4)
        axes.add_patch(
            Rectangle(place, width / 4, 1.3, facecolor=colour, edgecolor=INK, linewidth=0.5)
        )
    for share in (0.0, 0.5, 1.0):
        label = number(length * share, decimals_for(length / 2))
        axes.text(6 + width * share, 0.8, label, ha="center", fontsize=SMALL_PT)
    axes.text(6 + width + 1.5, 4.1, "m", fontsize=SMALL_PT)
    return length


def spread(angles: dict[str, float]) -> tuple[dict[str, float], bool]:
    """Draw angles apart where they lie too close; tell whether any was moved.

    Examples
    --------
    >>> spread({"grid": 0.0, "magnetic": 30.0})
    ({'grid': 0.0, 'magnetic': 30.0}, False)
    """
    names = sorted(angles, key=lambda name: angles[name])
    at = [angles[name] for name in names]
    zero = names.index("grid")
    for index in range(zero + 1, len(at)):
        at[index] = max(at[index], at[index - 1] + _CLOSEST_ARROWS_DEG)
    for index in range(zero - 1, -1, -1):
        at[index] = min(at[index], at[index + 1] - _CLOSEST_ARROWS_DEG)
    drawn = dict(zip(names, at, strict=True))
    return drawn, any(not np.isclose(drawn[name], angles[name]) for name in names)


def north_angles(*, convergence_deg: float, declination_deg: float | None) -> dict[str, float]:
    """Return the azimuths of the three norths, clockwise from grid north.

    Parameters
    ----------
    convergence_deg : float
        Angle from true to grid north, clockwise [degrees].
    declination_deg : float or None
        Angle from true to magnetic north, clockwise [degrees]; None where it is not known.

    Examples
    --------
    >>> north_angles(convergence_deg=0.5, declination_deg=-20.0)
    {'grid': 0.0, 'true': -0.5, 'magnetic': -20.5}
    """
    angles = {"grid": 0.0, "true": 0.0 - convergence_deg}
    if declination_deg is not None:
        angles["magnetic"] = (declination_deg - convergence_deg + 180) % 360 - 180
    return angles


def north_arrows(
    figure: Figure,
    *,
    left_mm: float,
    bottom_mm: float,
    convergence_deg: float,
    declination_deg: float | None,
) -> None:
    """Draw grid, true and magnetic north, 40 mm wide and 34 mm high, with their angles."""
    angles = north_angles(convergence_deg=convergence_deg, declination_deg=declination_deg)
    drawn, moved = spread(angles)
    axes = canvas_mm(figure, left_mm, bottom_mm, 40, 34)
    axes.set_gid("north arrows")
    for name, azimuth in drawn.items():
        _arrow(axes, name, azimuth)
    texts = ["GN  grid north: up", _angle_text("true", angles["true"])]
    texts.append(
        _angle_text("magnetic", angles["magnetic"])
        if "magnetic" in angles
        else "magnetic north: not known"
    )
    texts.append("arrows not to scale" if moved else "")
    for row, text in enumerate(texts):
        axes.text(0, 10.2 - 3.3 * row, text, fontsize=SMALL_PT, color=QUIET if row == 3 else INK)


def _angle_text(name: str, angle: float) -> str:
    """Return the words for one north beside its letters."""
    side = "E" if angle > 0 else "W"
    where = f"{number(abs(angle), 2)}° {side}" if round(abs(angle), 2) else "0.00°"
    return f"{name[0].upper()}N  {name} north: {where}"


def _arrow(axes: Axes, name: str, azimuth_deg: float) -> None:
    """Draw one arrow from the common foot; the head tells which north it is."""
    angle = np.radians(azimuth_deg)
    along = np.array([np.sin(angle), np.cos(angle)])
    across = np.array([along[1], -along[0]])
    foot, tip = np.array([16.0, 14.2]), np.array([16.0, 14.2]) + 13 * along
    axes.plot(*zip(foot, tip, strict=True), color=INK, lw=0.9, solid_capstyle="butt")
    wings = {"grid": (-1.0, 1.0), "true": (-1.0, 1.0), "magnetic": (0.0, 1.2)}[name]
    corners = [tip + 1.2 * along, *(tip - 2.2 * along + side * across for side in wings)]
    fill = "white" if name == "true" else INK
    axes.add_patch(Polygon(corners, facecolor=fill, edgecolor=INK, lw=0.7, zorder=3))
    letters = tip + 3.6 * along
    axes.text(
        float(letters[0]),
        float(letters[1]),
        f"{name[0].upper()}N",
        ha="center",
        va="center",
        fontsize=SMALL_PT,
    )


def colour_bar(
    figure: Figure,
    stretch: Stretch,
    *,
    left_mm: float,
    bottom_mm: float,
    height_mm: float,
    unit: str,
    name: str,
) -> None:
    """Draw the colour bar with its unit, the limits of the stretch and their percentiles."""
    axes = axes_mm(figure, left_mm, bottom_mm, 5, height_mm)
    figure.colorbar(stretch.colours, cax=axes, extend="both", extendfrac=0.05)
    step = nice_step((stretch.high - stretch.low) * 5 / height_mm)
    decimals = decimals_for(step)
    ticks = multiples(stretch.low, stretch.high, step)
    axes.yaxis.set_major_locator(FixedLocator(ticks.tolist()))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: number(value, decimals)))
    notes = canvas_mm(figure, left_mm, bottom_mm - 8, 40, height_mm + 22)
    limit = max(decimals, 0 if stretch.high - stretch.low > 20 else 2)
    for at, percentile, value, side in (
        (height_mm + 9.4, stretch.high_percentile, stretch.high, "above"),
        (4.2, stretch.low_percentile, stretch.low, "below"),
    ):
        words = f"{side} {number(value, limit)} {unit}: {_share(percentile)} % of cells"
        notes.text(0, at, words, fontsize=SMALL_PT, color=QUIET)
    notes.text(
        0, height_mm + 14, f"{name[:1].upper()}{name[1:]} [{unit}]", fontsize=TEXT_PT, weight="bold"
    )


def _share(percentile: float) -> str:
    """Return the share of cells beyond a percentile as a short number."""
    return f"{min(percentile, 100 - percentile):g}"
