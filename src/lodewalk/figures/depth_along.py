"""The depth of one body from line to line, with intervals and the band of the joint fit."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.figures.section_body import joint_words, level_top
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
    text_width_mm,
)
from lodewalk.records.interpreted import Bodies, Depths, Lineaments, Picks

Floats = NDArray[np.float64]
_LEFT, _RIGHT, _BOTTOM, _HEIGHT = 17.0, 6.0, 25.0, 66.0
#: Symbols of the other methods, in the order of their names.
_SYMBOLS = "xs^Dv<>+"


def draw_depth_along(
    lineaments: Lineaments, picks: Picks, depths: Depths, bodies: Bodies, *, lineament: str
) -> Figure:
    """Draw the depth at the picks of one lineament against the distance along its strike.

    Parameters
    ----------
    lineaments, picks, depths, bodies : Lineaments, Picks, Depths, Bodies
        The interpretation.
    lineament : str
        Name of the lineament.

    Returns
    -------
    Figure
        180 mm wide.

    Raises
    ------
    InputError
        When no pick of the lineament has a depth.

    Notes
    -----
    Bars are 90 % intervals of the calibrated answer, small marks the other methods whose own
    conditions hold. The band is the 90 % interval of the joint fit, where there is one. The axis
    is cut off at three times the deepest answer; marks beyond stand at the frame.

    Examples
    --------
    >>> empty = Lineaments.empty(), Picks.empty(), Depths.empty(), Bodies.empty()
    >>> draw_depth_along(*empty, lineament="R1")
    Traceback (most recent call last):
    lodewalk.errors.InputError: No pick of this lineament has a depth. Found 'R1'.
    """
    own = picks.frame.filter(pl.col("lineament") == lineament)
    told = depths.frame.join(own.select("pick", "line"), on="pick").filter(
        pl.col("depth_m").is_not_null()
    )
    answers = told.filter(pl.col("method") == "answer")
    if not answers.height:
        raise InputError("No pick of this lineament has a depth.", value=lineament)
    rows = lineaments.frame.filter(pl.col("lineament") == lineament)
    strike = rows["strike_deg"][0] if rows.height else None
    joint = bodies.frame.filter(pl.col("pick").is_null() & (pl.col("lineament") == lineament))
    along = _along(told, strike)
    return _drawn(lineament, told.with_columns(along=pl.Series(along)), joint, strike)


def _along(told: pl.DataFrame, strike: float | None) -> Floats:
    """Return the distance of each row along the strike from the first [m]."""
    places = told.select("easting_m", "northing_m").to_numpy()
    if strike is None:
        _, _, axes = np.linalg.svd(places - places.mean(axis=0), full_matrices=False)
        axis = axes[0]
    else:
        axis = np.array([np.sin(np.radians(strike)), np.cos(np.radians(strike))])
    along = places @ axis
    return np.asarray(along - along.min())


@styled
def _drawn(name: str, told: pl.DataFrame, joint: pl.DataFrame, strike: float | None) -> Figure:
    """Draw band, other methods, then the answers."""
    answers = told.filter(pl.col("method") == "answer").sort("along")
    figure = new_figure(PAGE_WIDTH_MM, _BOTTOM + _HEIGHT + 20)
    heading(figure, f"Depth along {name}", under=_under(answers.height, joint))
    axes = axes_mm(figure, _LEFT, _BOTTOM, PAGE_WIDTH_MM - _LEFT - _RIGHT, _HEIGHT, gid="depths")
    axes.grid(color=RULE, linewidth=0.3)
    deepest = float(np.nanmax([_numbers(answers, "depth_high_m").max(), *_joint_ends(joint)]))
    most = min(1.15 * deepest, 3.0 * float(_numbers(answers, "depth_m").max()))
    if joint.height:
        _draw_joint(axes, joint.row(0, named=True), answers)
    _draw_others(axes, told.filter((pl.col("method") != "answer") & pl.col("valid")), most)
    value = _numbers(answers, "depth_m")
    low, high = _numbers(answers, "depth_low_m"), _numbers(answers, "depth_high_m")
    axes.errorbar(
        answers["along"].to_numpy(), value,
        yerr=np.nan_to_num(np.vstack([value - low, high - value])), fmt="o", color=INK,
        markersize=3.5, elinewidth=0.9, capsize=2, zorder=5, label="answer, 90 % interval",
    )  # fmt: skip
    axes.set_ylim(most, 0)
    _name_lines(axes, answers)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]))
    axes.set_ylabel("Depth of the top below ground [m]")
    towards = f", towards {number(round(strike) % 360)}°" if strike is not None else ""
    axes.set_xlabel(f"Distance along the strike{towards} [m]")
    axes.yaxis.set_major_locator(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]))
    axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.15), ncols=4, frameon=False,
                fontsize=SMALL_PT, borderaxespad=0)  # fmt: skip
    return figure


def _numbers(frame: pl.DataFrame, name: str) -> Floats:
    """Return a column as float64, NaN where missing."""
    return frame[name].fill_null(np.nan).to_numpy()


def _joint_ends(joint: pl.DataFrame) -> list[float]:
    """Return the deepest end of the joint fit, if there is one."""
    return [float(v) for v in joint["depth_high_m"].drop_nulls().to_list()[:1]]


def _draw_joint(axes: Axes, joint: Mapping[str, Any], answers: pl.DataFrame) -> None:
    """Draw the depth of the joint fit and its band; below the ground where its top is level."""
    along, deeper = answers["along"].to_numpy(), np.zeros(answers.height)
    if level_top(joint):
        ground = _numbers(answers, "top_height_m") + _numbers(answers, "depth_m")
        deeper = ground - (joint["top_height_m"] + joint["depth_m"])
    low, value, high = (joint[f"depth{part}_m"] for part in ("_low", "", "_high"))
    if low is not None and high is not None:
        axes.fill_between(along, low + deeper, high + deeper, color=CURVE, alpha=0.22, lw=0,
                          label="joint fit, 90 % band")  # fmt: skip
    if value is not None:
        axes.plot(along, value + deeper, color=CURVE, lw=1.0)


def _draw_others(axes: Axes, others: pl.DataFrame, most: float) -> None:
    """Draw the other methods whose conditions hold; those beyond the axis stand at the frame."""
    for nth, method in enumerate(sorted(others["method"].unique().to_list())):
        rows = others.filter(pl.col("method") == method)
        shown = np.minimum(_numbers(rows, "depth_m"), most)
        axes.plot(rows["along"].to_numpy(), shown, _SYMBOLS[nth % len(_SYMBOLS)], color=FILL,
                  markersize=3, markeredgewidth=0.7, fillstyle="none", alpha=0.9, label=method,
                  clip_on=False, zorder=4)  # fmt: skip


def _name_lines(axes: Axes, answers: pl.DataFrame) -> None:
    """Write the lines' names above the picks, leaving out those without room."""
    low, high = axes.get_xlim()
    mm_per_m = (PAGE_WIDTH_MM - _LEFT - _RIGHT) / (high - low)
    free = -np.inf
    for row in answers.iter_rows(named=True):
        name = row["line"] or row["pick"]
        half = text_width_mm(name, size_pt=SMALL_PT) / 2 + 0.7
        at = row["along"] * mm_per_m
        if at - half < free:
            continue
        free = at + half
        axes.text(row["along"], 1.015, name, transform=axes.get_xaxis_transform(), ha="center",
                  fontsize=SMALL_PT, color=QUIET)  # fmt: skip


def _under(picks: int, joint: pl.DataFrame) -> str:
    """Return the sentence below the title."""
    if not joint.height or joint["depth_m"][0] is None:
        return f"{picks} picks; no joint fit"
    row = joint.row(0, named=True)
    return (
        f"{picks} picks; joint fit of {row['profiles']} profiles: {row['kind']}, top "
        f"{joint_words(row)}"
    )
