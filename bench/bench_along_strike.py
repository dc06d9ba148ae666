"""Judge minimum curvature along strike beside minimum curvature, on dykes and on all else.

Dykes cross lines 25 m apart at a slant, with tie lines each 200 m, readings at uneven 1 to 2 m and
noise of 0.5 nT; elsewhere are dipoles, dykes among dipoles, dykes that cross, and noise alone.
Every fifth line is kept from everything, the choice of settings too, and predicted at the end; the
true field is compared at all nodes a line spacing inside the edge. Both surfaces have the settings
that their own left-out lines choose. Rows are of one survey each, of a seed of its own; those of
development were 1 to 9, 1001 to 1023, 2001 to 2011 and, elsewhere, 3501 to 3552. Invented, the
formulas of dyke and dipole apart.

Run ``python bench/bench_along_strike.py``; it prints Markdown tables. ``slanted``, ``elsewhere`` or
``large`` alone, one angle, or one kind of ground and a number of surveys, take a part; ``picture
FILE`` draws one case.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates

import common  # noqa: F401  (finds the tests' modules)
from gridding_world import ALONG, _anomaly, world
from lodewalk.methods.bodies.dyke import index_dyke_anomaly, profile_distance
from lodewalk.methods.gridding.along_strike import AlongStrike
from lodewalk.methods.gridding.choose_along_strike import AlongStrikeChoice, choose_along_strike
from lodewalk.methods.gridding.interface import ALONG_STRIKE, grid_readings
from lodewalk.methods.gridding.line_folds import line_folds
from lodewalk.methods.gridding.piece_folds import piece_folds

SPACING_M, TIE_M, SIDE_M, NODE_M, NOISE_NT, SIZE_NT = 25.0, 200.0, 400.0, 5.0, 0.5, 40.0
ANGLES, DEPTHS = (15.0, 22.5, 30.0, 45.0, 60.0, 75.0), (0.3, 0.45, 0.6)
EVERY_LINE, FIRST_SEED, ELSEWHERE_SEED = 5, 3001, 4001
#: Kinds of ground elsewhere: angles of dykes, depth of bodies in line spacings, their number.
ELSEWHERE = {
    "dykes across the lines": ((90.0, 90.0, 90.0), (1.0, 2.0), 0),
    "bodies 0.4 to 4 spacings down": ((), (0.4, 4.0), 40),
    "bodies 1 to 4 spacings down": ((), (1.0, 4.0), 30),
    "noise alone": ((), (1.0, 2.0), 0),
    "dykes at 20 degrees among bodies": ((20.0, 20.0, 20.0), (0.4, 4.0), 30),
    "dykes that cross": ((20.0, -35.0, 60.0, 20.0), (1.0, 2.0), 0),
}


@dataclass(frozen=True)
class Survey:
    """Readings, and the dykes and bodies they come from."""

    easting: np.ndarray
    northing: np.ndarray
    line: np.ndarray
    value: np.ndarray
    dykes: tuple
    bodies: np.ndarray

    def field(self, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
        """Return the true anomaly [nT]."""
        total = np.zeros(easting.shape)
        for strike, point, depth, half, size, index in self.dykes:
            off = profile_distance(easting, northing, point=point, strike_deg=strike)
            total += index_dyke_anomaly(
                off, depth_m=depth, half_width_m=half, index_angle_deg=index,
                amplitude_nT=size / (2 * np.arctan(half / depth)),
            )  # fmt: skip
        if len(self.bodies):
            flat = _anomaly(easting.ravel(), northing.ravel(), self.bodies, ALONG)
            total += flat.reshape(easting.shape)
        return total


def survey(angles, depth, seed, *, body_depths=(1.0, 2.0), bodies=0) -> Survey:
    """Return a square with dykes at angles from the lines, tops at a depth in line spacings."""
    rng = np.random.default_rng(seed)
    parts = []
    for number in range(int(SIDE_M / SPACING_M) + 1):
        along = walk(rng)
        off = number * SPACING_M + 0.7 * np.sin(along / 60 + number)
        parts.append((off, along, np.full(along.size, number)))
    for number in range(int(SIDE_M / TIE_M) + 1):
        along = walk(rng)
        parts.append(
            (along, np.full(along.size, number * TIE_M), np.full(along.size, 10_000 + number))
        )
    east, north, line = (np.concatenate([part[k] for part in parts]) for k in range(3))
    side = rng.choice([-1, 1])
    dykes = tuple(
        (
            side * angle,
            rng.uniform(0.15, 0.85, 2) * SIDE_M,
            depth * SPACING_M,
            rng.uniform(0.05, 0.2) * SPACING_M,
            rng.choice([-1, 1]) * SIZE_NT * rng.uniform(0.5, 1.5),
            rng.uniform(-180, 180),
        )
        for angle in angles
    )
    down = SPACING_M * np.exp(rng.uniform(*np.log(body_depths), bodies))
    places = rng.uniform(-50, SIDE_M + 50, (2, bodies))
    balls = np.column_stack([*places, down, rng.normal(0, SIZE_NT, bodies)])
    made = Survey(east, north, line, east, dykes, balls)
    value = made.field(east, north) + rng.normal(0, NOISE_NT, east.size)
    return Survey(east, north, line, value, dykes, balls)


def walk(rng: np.random.Generator) -> np.ndarray:
    """Return distances of readings along a line."""
    along = np.cumsum(rng.uniform(1, 2, int(SIDE_M)))
    return along[along < SIDE_M]


def choose(made: Survey, rows: np.ndarray) -> AlongStrikeChoice:
    """Return the settings that some readings choose."""
    east, north, line = made.easting[rows], made.northing[rows], made.line[rows]
    return choose_along_strike(
        east, north, made.value[rows], sd=np.full(east.size, NOISE_NT), line=line,
        lines=line_folds(east, north, line, line_spacing_m=SPACING_M),
        pieces=piece_folds(east, north, line, length_m=SPACING_M), line_spacing_m=SPACING_M,
    )  # fmt: skip


def gridded(made: Survey, rows: np.ndarray, choice: AlongStrikeChoice, *, along: bool):
    """Return the grid of some readings, along strike or plain, and the time it took [s]."""
    begin = time.perf_counter()
    count = int(SIDE_M / NODE_M) + 1
    grid = grid_readings(
        made.easting[rows], made.northing[rows], made.value[rows], west_m=0.0, south_m=0.0,
        spacing_m=NODE_M, shape=(count, count), reach_m=10 * SPACING_M, method=ALONG_STRIKE,
        tension=choice.tension, tension_length_m=choice.tension_length_m,
        damping_m2=choice.damping_m2 if along else choice.trials[0].damping_m2,
        along_strike=AlongStrike(
            made.line[rows], SPACING_M, choice.strength if along else 0.0, choice.longest_m
        ),
    )  # fmt: skip
    return grid, time.perf_counter() - begin


def judged(made: Survey) -> dict:
    """Return the errors of both surfaces, the settings and the times."""
    held = (made.line % EVERY_LINE == EVERY_LINE // 2) & (made.line < 10_000)
    rest, every = np.flatnonzero(~held), np.arange(held.size)
    begin = time.perf_counter()
    choice = choose(made, rest)
    found = {"choice": choice, "choosing": time.perf_counter() - begin}
    places = [made.northing[held] / NODE_M, made.easting[held] / NODE_M]
    for name, along in (("plain", False), ("along", True)):
        there = map_coordinates(gridded(made, rest, choice, along=along)[0], places, order=3)
        grid, found[name + " time"] = gridded(made, every, choice, along=along)
        inner = (slice(int(SPACING_M / NODE_M), -int(SPACING_M / NODE_M)),) * 2
        error = (grid - made.field(*np.meshgrid(*[np.arange(grid.shape[0]) * NODE_M] * 2)))[inner]
        found[name] = [float(np.sqrt(np.mean(e**2))) for e in (there - made.value[held], error)]
    return found


HEAD = (
    "| | held-out lines: plain [nT] | along strike | ratio | truth: plain [nT] | along strike "
    "| ratio | strength, longest wave [m] | grid, choice [s] |\n|---|---:|---:|---:|---:|---:|---:"
    "|---|---:|"
)


def shown(name: str, found: dict) -> None:
    """Print a row of the table."""
    plain, along, choice = found["plain"], found["along"], found["choice"]
    cells = [
        f"{plain[k]:.2f} | {along[k]:.2f} | {along[k] / plain[k]:.3f}" for k in range(len(plain))
    ]
    longest = "all" if choice.longest_m is None else f"{choice.longest_m:g}"
    print(
        f"| {name} | {' | '.join(cells)} | {choice.strength:g}, {longest} | "
        f"{found['along time']:.2f}, {found['choosing']:.0f} |",
        flush=True,
    )


def slanted(angles=ANGLES) -> None:
    """Print the table of angles and depths."""
    print(HEAD)
    for angle in angles:
        for place, depth in enumerate(DEPTHS):
            seed = FIRST_SEED + 10 * ANGLES.index(angle) + place
            made = survey((angle,) * 3, depth, seed)
            shown(f"dykes at {angle:g} degrees, {depth:g} spacings down", judged(made))


def elsewhere(names=tuple(ELSEWHERE), seeds=2) -> None:
    """Print the table of other ground."""
    print(HEAD)
    for name in names:
        angles, depths, bodies = ELSEWHERE[name]
        for turn in range(seeds):
            seed = ELSEWHERE_SEED + 10 * list(ELSEWHERE).index(name) + turn
            shown(name, judged(survey(angles, 0.45, seed, body_depths=depths, bodies=bodies)))


def large(readings: int = 100_000, nodes: int = 1001) -> None:
    """Print the time of a large grid of bodies, with everything carried."""
    made = world(readings)
    for turn in ("compiling too", "again"):
        begin = time.perf_counter()
        grid_readings(
            made.easting, made.northing, made.value, west_m=0.0, south_m=0.0,
            spacing_m=made.side_m / (nodes - 1), shape=(nodes, nodes), reach_m=250.0,
            method=ALONG_STRIKE, damping_m2=0.06,
            along_strike=AlongStrike(made.line, SPACING_M, 0.1, 200.0),
        )  # fmt: skip
        lasted = time.perf_counter() - begin
        print(f"{readings:,} readings to {nodes} squared, {turn}: {lasted:.1f} s", flush=True)


def picture(file: str) -> None:
    """Draw the truth and both grids of one case."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    made = survey((20.0,) * 3, 0.4, FIRST_SEED + 900)
    every = np.arange(made.line.size)
    choice = choose(made, every)
    grids = [gridded(made, every, choice, along=along)[0] for along in (False, True)]
    truth = made.field(*np.meshgrid(*[np.arange(grids[0].shape[0]) * NODE_M] * 2))
    drawing, axes = plt.subplots(1, 3, figsize=(15, 5))
    for axis, grid, title in zip(
        axes, (truth, *grids), ("truth", "minimum curvature", "along strike"), strict=True
    ):
        axis.imshow(grid, origin="lower", extent=(0, SIDE_M, 0, SIDE_M), vmin=-40, vmax=40)
        axis.set_title(title)
    drawing.savefig(file, dpi=80)


if __name__ == "__main__":
    asked = sys.argv[1:]
    if not asked or asked[0] == "slanted":
        slanted()
    if not asked or asked[0] == "elsewhere":
        elsewhere()
    if not asked or asked[0] == "large":
        large()
    if asked and asked[0] == "picture":
        picture(asked[1])
    if asked and asked[0].replace(".", "").isdigit():
        slanted((float(asked[0]),))
    if asked and asked[0] in ELSEWHERE:
        elsewhere((asked[0],), seeds=int(asked[1]) if len(asked) > 1 else 2)
