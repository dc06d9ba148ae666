"""Lines left out of the Rio survey of 1978: how well the others predict them.

Every fifth flight line is kept from everything, settings included; the rest is gridded with nodes
100 m apart by the engines here, settings chosen by left-out lines, and by scipy. Run ``python
bench/evidence_rio.py``; it prints one Markdown section. The lines are read from the data of a
published package; see ``test/outside/README.md``.
"""

import runpy
from types import SimpleNamespace

import numpy as np
from scipy.interpolate import CloughTocher2DInterpolator, LinearNDInterpolator
from scipy.ndimage import map_coordinates

from common import BENCH
from lodewalk.methods.gridding.choose_surface import choose_surface
from lodewalk.methods.gridding.interface import grid_readings, region_for
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds
from outside import fetch

SPACING_M, NODE_M, EVERY = 500.0, 100.0, 5


def read() -> tuple[np.ndarray, ...]:
    rio = SimpleNamespace(**runpy.run_path(str(BENCH.parent / "test/outside/test_rio.py")))
    table = rio.read_rio(fetch.folder_of(fetch.VERDE) / "rio-magnetic.csv.xz")
    latitude, longitude = (np.radians(table[n].to_numpy()) for n in ("latitude", "longitude"))
    east = rio.EARTH_RADIUS_M * longitude * np.cos(latitude.mean())
    line = np.unique(table["line_number"].to_numpy(), return_inverse=True)[1]
    tie = (table["line_type"] == "TIE").to_numpy()
    return (
        east,
        rio.EARTH_RADIUS_M * latitude,
        table["total_field_anomaly_nt"].to_numpy(),
        line,
        tie,
    )


def ours(places: list[np.ndarray], value: np.ndarray, line: np.ndarray, at: list[np.ndarray]):
    folds = line_folds(*places, line, line_spacing_m=SPACING_M)
    pieces = piece_folds(*places, line, length_m=SPACING_M)
    choice = choose_surface(
        *places, value, sd=np.ones(value.size), lines=folds, pieces=pieces,
        line_spacing_m=SPACING_M,
    )  # fmt: skip
    region = region_for(*places, spacing_m=NODE_M, reach_m=SPACING_M)
    grid = grid_readings(
        *places, value, **region._asdict(), spacing_m=NODE_M, reach_m=4 * SPACING_M,
        method="minimum curvature", tension=choice.tension, damping_m2=choice.damping_m2,
        tension_length_m=choice.tension_length_m,
    )  # fmt: skip
    where = [(at[1] - region.south_m) / NODE_M, (at[0] - region.west_m) / NODE_M]
    return map_coordinates(grid, where, order=1, cval=np.nan)


def section() -> str:
    try:
        east, north, value, line, tie = read()
    except fetch.UnreachableError as error:
        return f"## Rio lines left out\n\nNot run, no registry could be reached ({error})."
    held = ~tie & (line % EVERY == EVERY // 2)
    rest = [axis[~held] for axis in (east, north)]
    at = [axis[held] for axis in (east, north)]
    found = {"minimum curvature": ours(rest, value[~held], line[~held], at)}
    for name, engine in (
        ("scipy, cubic on triangles", CloughTocher2DInterpolator),
        ("scipy, linear on triangles", LinearNDInterpolator),
    ):
        found[name] = engine(np.column_stack(rest), value[~held])(*at)
    both = np.isfinite(list(found.values())).all(axis=0)
    rows = [
        f"| {name} | {np.sqrt(np.mean((there - value[held])[both] ** 2)):.1f} "
        f"| {np.median(np.abs(there - value[held])[both]):.1f} |"
        for name, there in found.items()
    ]
    return "\n".join(
        [
            "## Rio lines left out",
            "",
            f"{len(np.unique(line[held]))} of {len(np.unique(line[~tie]))} flight lines, "
            f"{int(both.sum()):,} readings, kept from everything.",
            "",
            "| engine | rms [nT] | median size [nT] |",
            "|---|---:|---:|",
            *rows,
        ]
    )


if __name__ == "__main__":
    print(section())
