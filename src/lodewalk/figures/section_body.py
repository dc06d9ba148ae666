"""The body of a section: its outline in the ground, and what is said of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from lodewalk.figures.style import FILL, INK, number

Floats = NDArray[np.float64]
#: Kinds that go down without end, by whether they have a width of their own.
SHEETS = ("thin sheet", "dyke")
EDGES = ("contact", "step")
#: What the setting of the magnetisation says, in words.
MAGNETISATIONS = {
    "unknown": "not stated",
    "induced": "along the present field",
    "given": "in the direction given in the settings",
}
#: Strips that an outline fades out in.
_STRIPS = 24


@dataclass(frozen=True)
class Placed:
    """A body in the coordinates of a section: distance across the strike and depth [m].

    A number that the data don't tell is NaN; `dips` holds the lower end, value and upper end, and
    is empty without a stated magnetisation.
    """

    kind: str
    at_m: float
    depth_m: float
    low_m: float
    high_m: float
    width_m: float
    widest_m: float
    dips: tuple[float, ...] = ()


def placed(body: Mapping[str, Any], pick: Mapping[str, Any]) -> Placed:
    """Return a body of the table of bodies on the profile of a pick.

    Examples
    --------
    >>> body = {"kind": "dyke", "easting_m": 3.0, "northing_m": 0.0, "depth_m": 9.0,
    ...     "depth_low_m": 8.0, "depth_high_m": 11.0, "width_resolved": True, "width_m": 4.0,
    ...     "width_high_m": 5.0, "dip_deg": None}
    >>> placed(body, {"easting_m": 0.0, "northing_m": 0.0, "azimuth_deg": 90.0}).at_m
    3.0
    """
    turn = np.radians(pick["azimuth_deg"])
    east = body["easting_m"] - pick["easting_m"]
    north = body["northing_m"] - pick["northing_m"]
    dips = tuple(_known(body[name]) for name in ("dip_low_deg", "dip_deg", "dip_high_deg")
                 if body["dip_deg"] is not None)  # fmt: skip
    return Placed(
        body["kind"],
        float(east * np.sin(turn) + north * np.cos(turn)),
        _known(body["depth_m"]),
        _known(body["depth_low_m"]),
        _known(body["depth_high_m"]),
        _known(body["width_m"]) if body["width_resolved"] else np.nan,
        _known(body["width_high_m"]),
        dips,
    )


def _known(value: float | None) -> float:
    """Return a number, NaN where it is missing."""
    return np.nan if value is None else float(value)


def draw_body(axes: Axes, body: Placed, *, bottom_m: float) -> None:
    """Draw a body down to the foot of the section, where it fades out.

    Parameters
    ----------
    axes : Axes
        Depth below ground downwards, distance to the right [m].
    body : Placed
        The body.
    bottom_m : float
        Depth of the section's foot [m].
    """
    if body.kind in SHEETS:
        _draw_sheet(axes, body, bottom_m)
    elif body.kind in EDGES:
        _draw_edge(axes, body, bottom_m)
    else:
        axes.plot(body.at_m, body.depth_m, "o", color=FILL, markersize=5, zorder=4, gid="body")
    _draw_interval(axes, body)


def lean(dip_deg: float) -> float:
    """Return the way to the right for each metre down of a face of this dip.

    Examples
    --------
    >>> round(lean(45.0), 6), round(lean(135.0), 6), round(lean(90.0), 6)
    (1.0, -1.0, 0.0)
    """
    return float(1.0 / np.tan(np.radians(dip_deg)))


def _draw_sheet(axes: Axes, body: Placed, bottom_m: float) -> None:
    """Draw a sheet or a dyke in its dip, or upright with an open end where no dip is told."""
    dip = body.dips[1] if body.dips else 90.0
    half = body.width_m / 2 if np.isfinite(body.width_m) else 0.0
    levels = np.linspace(body.depth_m, bottom_m, _STRIPS + 1)
    reach = bottom_m - body.depth_m
    for nth, (top, foot) in enumerate(pairwise(levels)):
        left = [body.at_m + lean(dip) * (level - body.depth_m) for level in (top, foot)]
        # the foot is not told by the field, so it fades out; sooner where no dip is told
        alpha = 0.85 * (1 - nth / _STRIPS) ** (1.0 if body.dips else 2.0)
        if half:
            corners = [(left[0] - half, top), (left[0] + half, top),
                       (left[1] + half, foot), (left[1] - half, foot)]  # fmt: skip
            axes.add_patch(Polygon(corners, facecolor=to_rgba(FILL, alpha), lw=0, gid="body"))
        else:
            axes.plot(left, [top, foot], color=to_rgba(FILL, alpha), lw=2.2,
                      solid_capstyle="butt", gid="body")  # fmt: skip
    if not half and np.isfinite(body.widest_m):
        _outline_widest(axes, body, reach)
    for end in (body.dips[0], body.dips[2]) if len(body.dips) == 3 else ():
        if np.isfinite(end):
            foot = body.at_m + lean(end) * reach
            axes.plot([body.at_m, foot], [body.depth_m, bottom_m], "--", color=FILL, lw=0.7)


def _outline_widest(axes: Axes, body: Placed, reach_m: float) -> None:
    """Draw the widest body that fits, where the width itself is not resolved."""
    half = body.widest_m / 2
    foot = body.depth_m + 0.35 * reach_m
    east = [body.at_m - half, body.at_m - half, body.at_m + half, body.at_m + half]
    down = [foot, body.depth_m, body.depth_m, foot]
    axes.plot(east, down, ":", color=FILL, lw=0.9, gid="widest")


def _draw_edge(axes: Axes, body: Placed, bottom_m: float) -> None:
    """Draw the face of a contact or a step; which side is the more magnetic is not drawn."""
    dip = body.dips[1] if body.dips else 90.0
    levels = np.linspace(body.depth_m, bottom_m, _STRIPS + 1)
    for nth, (top, foot) in enumerate(pairwise(levels)):
        across = [body.at_m + lean(dip) * (level - body.depth_m) for level in (top, foot)]
        colour = to_rgba(FILL, 1 - nth / _STRIPS)
        axes.plot(across, [top, foot], color=colour, lw=1.6, solid_capstyle="butt", gid="body")


def _draw_interval(axes: Axes, body: Placed) -> None:
    """Draw the 90 % interval of the depth: light tops at its ends and a bar between."""
    half = np.nanmax([body.width_m / 2, 0.02 * abs(np.diff(axes.get_xlim())[0])])
    for end in (body.low_m, body.high_m):
        if np.isfinite(end):
            axes.plot([body.at_m - half, body.at_m + half], [end, end], color=INK, lw=0.8,
                      ls=(0, (4, 2)), zorder=5, gid="interval")  # fmt: skip
    if np.isfinite(body.low_m + body.high_m):
        axes.plot([body.at_m] * 2, [body.low_m, body.high_m], color=INK, lw=0.9, zorder=5)


def body_words(body: Mapping[str, Any]) -> list[str]:
    """Return what is told of a body, one short sentence each.

    Parameters
    ----------
    body : mapping
        A row of the table of bodies.
    """
    words = [f"Top {interval(body, 'depth', 'm', 1)} below ground"]
    if body["kind"] in SHEETS:
        words.append(width_words(body))
    if body["index_angle_deg"] is not None:
        words.append(f"Index angle {interval(body, 'index_angle', 'deg', 0)}")
    if body["dip_deg"] is not None:
        stated = magnetisation_words(body["magnetisation"])
        words.append(f"Dip {dip_words(body)}, to the right, if magnetised: {stated}")
    elif body["magnetisation"] in ("", "unknown"):
        if body["kind"] not in ("cylinder", "sphere"):
            words.append(
                "No dip without a magnetisation: state one in setting fits.magnetisation to have it"
            )
    else:
        words.append(body["dip_words"].rstrip("."))
    return words


def dip_words(body: Mapping[str, Any]) -> str:
    """Return a dip with its interval, and its range under remanence where that is wider.

    Examples
    --------
    >>> dip_words({"dip_deg": 60.0, "dip_low_deg": 50.0, "dip_high_deg": 70.0,
    ...     "dip_range_low_deg": 20.0, "dip_range_high_deg": 100.0})
    '60° (50 to 70), under remanence 20 to 100'
    """
    told = interval(body, "dip", "deg", 0)
    low, high = body["dip_range_low_deg"], body["dip_range_high_deg"]
    if None in (low, high) or (low, high) == (body["dip_low_deg"], body["dip_high_deg"]):
        return told
    return f"{told}, under remanence {number(low, 0)} to {number(high, 0)}"


def level_top(body: Mapping[str, Any]) -> bool:
    """Tell whether a joint fit takes the top as level, so that its depth follows the ground.

    Examples
    --------
    >>> body = {"pick": None, "top_height_m": 880.0, "not_resolved": "Its top is taken as level."}
    >>> level_top(body)
    True
    """
    return (
        body["pick"] is None
        and body["top_height_m"] is not None
        and "taken as level" in body["not_resolved"]
    )


def joint_words(body: Mapping[str, Any]) -> str:
    """Return the depth of a joint fit's top with its interval, and the height of a level top.

    The height has no interval: that of the depth leaves out the error of recorded heights.
    """
    depth = interval(body, "depth", "m", 1)
    if not level_top(body):
        return depth
    height = number(body["top_height_m"], 1)
    return f"{depth} below mean ground, level at height {height} m"


def magnetisation_words(stated: str) -> str:
    """Return what a dip stands under, in words; a text that isn't a setting's stays as it is.

    Examples
    --------
    >>> magnetisation_words("induced"), magnetisation_words("unknown")
    ('along the present field', 'not stated')
    """
    return MAGNETISATIONS.get(stated, stated) or "not stated"


def width_words(body: Mapping[str, Any]) -> str:
    """Return the width of a body, or that it isn't resolved."""
    if body["width_resolved"] and body["width_m"] is not None:
        return f"Width {interval(body, 'width', 'm', 1)}"
    widest = body["width_high_m"]
    most = f", at most {number(widest, 1)} m" if widest is not None else ""
    return f"Width not resolved{most}"


def interval(row: Mapping[str, Any], name: str, unit: str, decimals: int) -> str:
    """Return a value with its 90 % interval and unit.

    Examples
    --------
    >>> row = {"depth_m": 12.04, "depth_low_m": 9.5, "depth_high_m": None}
    >>> interval(row, "depth", "m", 1)
    '12.0 m (9.5 to ?)'
    """
    value, low, high = (row[f"{name}{part}_{unit}"] for part in ("", "_low", "_high"))
    if value is None:
        return "not told"
    sign = "°" if unit == "deg" else f" {unit}"
    ends = [("?" if end is None else number(end, decimals)) for end in (low, high)]
    return f"{number(value, decimals)}{sign} ({ends[0]} to {ends[1]})"
