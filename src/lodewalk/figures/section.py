"""A section: the readings across a body, the curve fitted to them, and the body in the ground."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.passages import with_breaks
from lodewalk.figures.section_body import Placed, body_words, draw_body, placed
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
    text_mm,
    wrapped,
)
from lodewalk.records.interpreted import (
    Bodies,
    Curves,
    Dips,
    Picks,
    ProfileReadings,
    with_dips,
)

Floats = NDArray[np.float64]
NINETY = 1.6449
_LEFT, _RIGHT, _BOTTOM, _GAP = 19.0, 17.0, 23.0, 4.0
_FIELD, _RESIDUAL = 58.0, 18.0
#: The section's panel is between these heights, in its true proportion where it can be [mm].
_LOWEST, _TALLEST = 34.0, 80.0
_EXAGGERATIONS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0)
_GROUND = "#efe6d8"


@dataclass(frozen=True)
class _Section:
    """What is drawn: the pick, its readings and curve in order of distance, and the body."""

    pick: Mapping[str, Any]
    readings: Mapping[str, Floats]
    curve: Mapping[str, Floats]
    body: Mapping[str, Any]
    at: Placed
    noise: Mapping[str, float]

    @property
    def total_sd(self) -> Floats:
        """Total standard deviation of each reading [nT]: own, of its place, shared noise."""
        own = self.noise.get("scale", 1.0) * self.readings["sd_nT"]
        place = np.nan_to_num(self.readings.get("place_nT", np.zeros(own.size)))
        shared = self.noise.get("correlated_nT", 0.0)
        return np.asarray(np.sqrt(own**2 + place**2 + shared**2))


def draw_section(
    picks: Picks,
    profiles: ProfileReadings,
    curves: Curves,
    bodies: Bodies,
    *,
    pick: str,
    noise: Mapping[str, float] | None = None,
    dips: Dips | None = None,
) -> Figure:
    """Draw the section of a pick: data with curve and band, residuals, and the body.

    Parameters
    ----------
    picks, profiles, curves, bodies : Picks, ProfileReadings, Curves, Bodies
        The interpretation.
    pick : str
        Name of the pick.
    noise : mapping, optional
        Of the fit: ``scale`` of the readings' errors, ``correlated_nT`` that neighbours share.
    dips : Dips, optional
        The dips of the bodies; without them none is drawn.

    Returns
    -------
    Figure
        180 mm wide.

    Raises
    ------
    InputError
        When there is no such pick, or no body was fitted at it.

    Notes
    -----
    Bars at the readings are ± 1.645 sd, the band holds the curve in nine of ten. Residuals are
    readings less curve over their total sd: own error, that of
    their place, and shared noise. The section stands in its true proportion where
    the page has room; else its vertical exaggeration is printed on it. Depth counts from the
    ground under the body's top. A dip is drawn only under a stated magnetisation.

    Examples
    --------
    >>> empty = Picks.empty(), ProfileReadings.empty(), Curves.empty(), Bodies.empty()
    >>> draw_section(*empty, pick="R1-L01")
    Traceback (most recent call last):
    lodewalk.errors.InputError: There is no pick of this name. Found 'R1-L01'.
    """
    told = with_dips(bodies, Dips.empty() if dips is None else dips)
    return _drawn(_section(picks, profiles, curves, told, pick, noise or {}))


def _section(
    picks: Picks,
    profiles: ProfileReadings,
    curves: Curves,
    bodies: pl.DataFrame,
    pick: str,
    noise: Mapping[str, float],
) -> _Section:
    """Return what belongs to a pick."""
    rows = picks.frame.filter(pl.col("pick") == pick)
    if not rows.height:
        raise InputError("There is no pick of this name.", value=pick)
    row = rows.row(0, named=True)
    own = bodies.filter(pl.col("pick") == pick)
    told = own.filter(pl.col("depth_m").is_not_null())
    if not told.height:
        raise InputError(row["problem"] or "No body was fitted at this pick.", value=pick)
    body = told.row(0, named=True)
    readings = _columns(profiles.frame.filter(pl.col("pick") == pick))
    shown = curves.frame.filter((pl.col("pick") == pick) & (pl.col("body") == body["body"]))
    if not readings["distance_m"].size:
        raise InputError("The pick's profile has no reading.", value=pick)
    return _Section(row, readings, _broken(_columns(shown)), body, placed(body, row), noise)


def _broken(curve: dict[str, Floats]) -> dict[str, Floats]:
    """Return a curve with a break where there is no reading over a long way."""
    names = [name for name in curve if name != "distance_m"]
    distance, *values = with_breaks(curve["distance_m"], *(curve[name] for name in names))
    return {"distance_m": distance, **dict(zip(names, values, strict=True))}


def _columns(frame: pl.DataFrame) -> dict[str, Floats]:
    """Return the numbers of a table in order of distance."""
    ordered = frame.sort("distance_m")
    return {
        name: ordered[name].fill_null(np.nan).to_numpy()
        for name, kind in ordered.schema.items()
        if kind == pl.Float64
    }


@styled
def _drawn(section: _Section) -> Figure:
    """Draw the three panels from below."""
    distance = section.readings["distance_m"]
    span = float(distance[-1] - distance[0]) or 1.0
    window = float(distance[0]) - 0.01 * span, float(distance[-1]) + 0.01 * span
    width = PAGE_WIDTH_MM - _LEFT - _RIGHT
    levels = _levels(section, span=span)
    height, times = panel_height(levels[1] - levels[0], mm_per_m=width / (window[1] - window[0]))
    figure = new_figure(PAGE_WIDTH_MM, _BOTTOM + height + _RESIDUAL + _FIELD + 2 * _GAP + 15)
    heading(figure, f"Section at {section.pick['pick']}", under=_under(section))
    ground = axes_mm(figure, _LEFT, _BOTTOM, width, height, gid="section")
    lower = _BOTTOM + height + _GAP
    residual = axes_mm(figure, _LEFT, lower, width, _RESIDUAL, gid="residuals", sharex=ground)
    field = axes_mm(figure, _LEFT, lower + _RESIDUAL + _GAP, width, _FIELD, gid="field",
                    sharex=ground)  # fmt: skip
    ground.set(xlim=window, ylim=(levels[1], levels[0]))
    _draw_field(field, section)
    _draw_residuals(residual, section)
    _draw_ground(ground, section, times)
    for axes in (field, residual):
        axes.tick_params(labelbottom=False)
        axes.grid(color=RULE, linewidth=0.3)
    for axes in (field, residual, ground):
        axes.yaxis.set_label_coords(-0.07, 0.5)
    _say(figure, section)
    return figure


def _say(figure: Figure, section: _Section) -> None:
    """Write below the panels what is told of the body."""
    text = ". ".join(body_words(section.body)) + "."
    for nth, row in enumerate(wrapped(text, PAGE_WIDTH_MM - 8, most=2)):
        text_mm(figure, 4, 7.5 - 3.8 * nth, row)


def panel_height(range_m: float, *, mm_per_m: float) -> tuple[float, float]:
    """Return the height of the section's panel [mm] and its vertical exaggeration.

    Examples
    --------
    >>> panel_height(40.0, mm_per_m=1.5), panel_height(20.0, mm_per_m=1.0)
    ((60.0, 1.0), (40.0, 2.0))
    """
    plain = range_m * mm_per_m
    if plain > _TALLEST:
        return _TALLEST, float(f"{_TALLEST / plain:.2g}")
    for times in _EXAGGERATIONS:
        if times * plain >= _LOWEST:
            return min(times * plain, _TALLEST), times
    return _LOWEST, float(f"{_LOWEST / plain:.2g}")


def _levels(section: _Section, *, span: float) -> tuple[float, float]:
    """Return the highest and the lowest level of the section, as depths below ground [m]."""
    deepest = np.nanmax([section.at.high_m, 1.3 * section.at.depth_m])
    sensor, ground = _surfaces(section)
    top = float(min(np.nanmin(sensor), np.nanmin(ground)))
    foot = max(2.5 * section.at.depth_m, 1.25 * deepest, float(np.nanmax(ground)) + 0.05 * span)
    return top - 0.04 * (foot - top), foot


def _surfaces(section: _Section) -> tuple[Floats, Floats]:
    """Return sensor and ground at the readings, as depths below the ground at the body [m]."""
    distance, rise = section.readings["distance_m"], section.readings["rise_m"]
    above = section.pick["sensor_height_m"] or 0.0
    under = float(np.interp(section.at.at_m, distance, rise))
    ground = under - rise
    return ground - above, ground


def _draw_field(axes: Axes, section: _Section) -> None:
    """Draw readings with their bars, the curve with its band, and the regional."""
    readings, curve = section.readings, section.curve
    axes.errorbar(
        readings["distance_m"], readings["anomaly_nT"], yerr=NINETY * readings["sd_nT"],
        fmt=".", color=INK, ecolor="#8c8c8c", elinewidth=0.6, markersize=2.4, zorder=2,
        label="readings ± 1.645 sd",
    )  # fmt: skip
    if curve["distance_m"].size:
        axes.fill_between(curve["distance_m"], curve["low_nT"], curve["high_nT"], color=CURVE,
                          alpha=0.3, lw=0, zorder=3, label="90 % band of the curve")  # fmt: skip
        axes.plot(curve["distance_m"], curve["model_nT"], color=CURVE, lw=1.1, zorder=4,
                  label=f"curve of the {section.body['kind']}")  # fmt: skip
    if np.isfinite(curve.get("regional_nT", np.array([np.nan]))).any():
        axes.plot(curve["distance_m"], curve["regional_nT"], "--", color=QUIET, lw=0.8, zorder=2,
                  label="regional level and slope")  # fmt: skip
    axes.axvline(section.at.at_m, color=FILL, lw=0.6, ls=":", zorder=1)
    axes.set_ylabel("Anomaly [nT]")
    axes.margins(y=0.08)
    axes.legend(loc="best", framealpha=0.9, edgecolor=RULE, fontsize=SMALL_PT)


def _draw_residuals(axes: Axes, section: _Section) -> None:
    """Draw readings less curve, over their whole sd, with the band of nine in ten."""
    readings, curve = section.readings, section.curve
    axes.axhspan(-NINETY, NINETY, color=CURVE, alpha=0.12, lw=0)
    axes.axhline(0, color=QUIET, lw=0.5)
    axes.set_ylabel("Residual\n[total sd]")
    if not curve["distance_m"].size:
        return
    known = np.isfinite(curve["distance_m"])
    model = np.interp(readings["distance_m"], curve["distance_m"][known], curve["model_nT"][known])
    off = (readings["anomaly_nT"] - model) / section.total_sd
    axes.vlines(readings["distance_m"], 0, off, color=INK, lw=0.6)
    most = max(3.0, 1.1 * float(np.nanmax(np.abs(off))))
    axes.set_ylim(-most, most)


def _draw_ground(axes: Axes, section: _Section, times: float) -> None:
    """Draw ground, sensor and body; say how the vertical scale stands to the horizontal."""
    distance = section.readings["distance_m"]
    sensor, ground = _surfaces(section)
    foot = axes.get_ylim()[0]
    axes.fill_between(distance, ground, foot, color=_GROUND, lw=0, zorder=0)
    axes.plot(distance, ground, color=INK, lw=1.0, label="ground", gid="ground")
    axes.plot(distance, sensor, color=CURVE, lw=0.7, ls=(0, (5, 2)), label="sensor", gid="sensor")
    draw_body(axes, section.at, bottom_m=foot)
    axes.set_ylabel("Depth below ground\nat the body [m]")
    axes.set_xlabel(f"Distance across the strike, towards {_azimuth(section.pick)} [m]")
    _round_ticks(axes.yaxis)
    scale = (
        "vertical scale as the horizontal" if times == 1.0 else f"vertical exaggeration {times:g}"
    )
    axes.text(0.01, 0.03, scale, transform=axes.transAxes, fontsize=SMALL_PT, weight="bold",
              color=INK, zorder=7, gid="scale")  # fmt: skip
    axes.legend(loc="lower right", framealpha=0.9, edgecolor=RULE, fontsize=SMALL_PT)
    _heights(axes, section)


def _heights(axes: Axes, section: _Section) -> None:
    """Write heights above the ellipsoid on the right, where they are known."""
    level = section.body["top_height_m"]
    if level is None:
        return
    zero = level + section.at.depth_m
    side = axes.secondary_yaxis("right", functions=(lambda d: zero - d, lambda h: zero - h))
    side.set_ylabel("Height above\nthe ellipsoid [m]")
    _round_ticks(side.yaxis)


def _round_ticks(axis: Axis) -> None:
    """Put ticks at round numbers, written with a true minus sign."""
    axis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 5, 10]))
    axis.set_major_formatter(lambda value, _: number(value, 0 if value == round(value) else 1))


def _azimuth(pick: Mapping[str, Any]) -> str:
    """Return the profile's azimuth in words."""
    return f"{number(round(pick['azimuth_deg']) % 360)}° from grid north"


def _under(section: _Section) -> str:
    """Return the sentence below the title."""
    pick, body = section.pick, section.body
    line = f"line {pick['line']}, " if pick["line"] else ""
    sure = "" if body["decidable"] else ", other kinds fit too"
    return (
        f"{line}{body['kind']} (probability {number(body['probability'], 2)}{sure}); "
        f"{section.readings['distance_m'].size} readings; misfit {number(body['misfit'], 2)}; "
        f"easting {number(body['easting_m'])} m, northing {number(body['northing_m'])} m"
    )
