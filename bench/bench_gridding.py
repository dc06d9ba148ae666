"""Time and judge minimum curvature beside scipy's cubic griddata, and beside GMT's surface.

All from arrays in memory; the mapping program takes part where it is installed (``make
bench-tools``), its time for files apart.

Same cells, same mask, in turn in one run. Beside the times stand the errors against the true
field inside the outline of the readings, and on lines left out of the gridding. Tension is none
and the damping small for all times; what the main job's own choice by left-out lines gives stands
in the note, with the time of the choice. Run ``python bench/bench_gridding.py``.
"""

import statistics
import sys
import time

import numpy as np
from scipy.interpolate import CloughTocher2DInterpolator
from scipy.ndimage import map_coordinates

import mapping_program
from common import Row, medians, show
from gridding_world import SPACING_M, World, world
from lodewalk.methods.gridding.choose_surface import choose_surface
from lodewalk.methods.gridding.interface import grid_readings
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds

JOBS = ((100_000, 1001), (100_000, 2001), (1_000_000, 2001))
#: Share of nodes at which the true field is computed, and lines left out.
EVERY_NODE, EVERY_LINE = 4, 10
DAMPING_M2, ROUNDS = 0.06, 3
#: Seconds of gridding and of files of each run of the mapping program.
GMT: list[tuple[float, float]] = []


def ours(made: World, rows: np.ndarray, nodes: int, **options: float) -> np.ndarray:
    spacing = made.side_m / (nodes - 1)
    return grid_readings(
        made.easting[rows], made.northing[rows], made.value[rows], west_m=0.0, south_m=0.0,
        spacing_m=spacing, shape=(nodes, nodes), reach_m=10 * SPACING_M,
        method="minimum curvature", **{"damping_m2": DAMPING_M2} | options,
    )  # fmt: skip


def scipys(made: World, rows: np.ndarray, nodes: int) -> np.ndarray:
    axis = np.linspace(0, made.side_m, nodes)
    places = np.column_stack([made.easting[rows], made.northing[rows]])
    return CloughTocher2DInterpolator(places, made.value[rows])(*np.meshgrid(axis, axis))


def gmts(made: World, rows: np.ndarray, nodes: int) -> np.ndarray:
    columns = (part[rows] for part in (made.easting, made.northing, made.value))
    grid, seconds, files = mapping_program.surface(*columns, made.side_m, nodes)
    GMT.append((seconds, files))
    return grid


def errors(
    made: World, grid: np.ndarray, held: np.ndarray, part: np.ndarray
) -> tuple[float, float]:
    """Return the errors of a grid against the field, and of one without some lines on those."""
    nodes = grid.shape[0]
    axis = np.linspace(0, made.side_m, nodes)[::EVERY_NODE]
    rest = grid[::EVERY_NODE, ::EVERY_NODE] - made.field(*np.meshgrid(axis, axis))
    spacing = made.side_m / (nodes - 1)
    there = map_coordinates(
        part, [made.northing[held] / spacing, made.easting[held] / spacing], order=1
    )
    return (
        float(np.sqrt(np.nanmean(rest**2))),
        float(np.sqrt(np.nanmean((there - made.value[held]) ** 2))),
    )


def rows_of(readings: int, nodes: int) -> list[Row]:
    made = world(readings)
    every = np.arange(made.value.size)
    held = (made.line % EVERY_LINE == EVERY_LINE // 2) & (made.line < 10_000)
    print(f"{readings} to {nodes} squared …", file=sys.stderr)
    rounds = ROUNDS if readings < 500_000 else 1
    jobs = {"ours": lambda: ours(made, every, nodes), "scipy": lambda: scipys(made, every, nodes)}
    if mapping_program.is_here():
        jobs["gmt"] = lambda: gmts(made, every, nodes)
    GMT.clear()
    found = medians(jobs, rounds=rounds)
    beside = [statistics.median(part) for part in zip(*GMT[1:], strict=True)]
    begin = time.perf_counter()
    choice = choose_surface(
        made.easting, made.northing, made.value, sd=np.ones(every.size),
        lines=line_folds(made.easting, made.northing, made.line, line_spacing_m=SPACING_M),
        pieces=piece_folds(made.easting, made.northing, made.line, length_m=SPACING_M),
        line_spacing_m=SPACING_M,
    )  # fmt: skip
    lasted = time.perf_counter() - begin
    chosen = {
        "tension": choice.tension,
        "damping_m2": choice.damping_m2,
        "tension_length_m": choice.tension_length_m,
    }
    said = []
    for name, make in (
        ("here", lambda rows: ours(made, rows, nodes)),
        ("chosen", lambda rows: ours(made, rows, nodes, **chosen)),
        ("scipy", lambda rows: scipys(made, rows, nodes)),
        *([("gmt", lambda rows: gmts(made, rows, nodes))] if beside else []),
    ):
        truth, left = errors(made, make(every), held, make(np.flatnonzero(~held)))
        said.append(f"{name} {truth:.2f} / {left:.2f}")
    job = f"minimum curvature, {readings:,} readings to {nodes}²"
    note = (
        f"error against truth / on left-out lines [nT]: {', '.join(said)}; tension "
        f"{choice.tension:g} and damping {choice.damping_m2:.2g} m² chosen in {lasted:.1f} s"
    )
    rows = [Row(job, found["ours"], "scipy cubic griddata", found["scipy"], note)]
    if beside:
        other = f"GMT blockmedian | surface -T{mapping_program.TENSION}"
        note = f"errors in the row above; {beside[1]:.2f} s more for its files"
        rows.append(Row(f"{job}, again", found["ours"], other, beside[0], note))
    return rows


if __name__ == "__main__":
    wanted = JOBS if len(sys.argv) < 3 else [(int(sys.argv[1]), int(sys.argv[2]))]
    if len(sys.argv) >= 3:
        sys.argv = sys.argv[:1]
    show([row for job in wanted for row in rows_of(*job)])
