"""Dykes, straight and bent, walked with errors of place, level and lag, gridded and traced.

What is planted is blocks with flat ends, boulders and noise; a trace is compared with the strike of
the piece of a dyke that is nearest.
"""

from dataclasses import dataclass

import numpy as np

from crossed_traces import held
from lineament_world import Piece, World, anomaly, boulders, gridded
from lodewalk.methods.lineaments.local_strike import local_strikes
from lodewalk.methods.lineaments.trace import trace_ridges

SPACING, STEP, NOISE, LEVEL = 20.0, 1.5, 0.5, 1.0
#: Errors of place go together over this length along a line [m].
TOGETHER = 100.0
#: Farther than a dyke reaches [m], and how near to a bend, an end counts as beside it.
FAR, BESIDE = 1500.0, 2.0 * SPACING


@dataclass(frozen=True)
class Bent:
    """A dyke: the line of its top's middle, the strike of each piece, and whether it ends."""

    way: np.ndarray
    strikes: tuple
    ends: bool
    pieces: tuple

    def nearest(self, places):
        """Return how far places lie off, and the strike of the nearest piece."""
        off = []
        for first, last in zip(self.way[:-1], self.way[1:], strict=True):
            along = (last - first) / np.hypot(*(last - first))
            share = np.clip((places - first) @ along, 0.0, np.hypot(*(last - first)))
            off.append(np.hypot(*(places - first - share[:, None] * along).T))
        return np.min(off, axis=0), np.array(self.strikes)[np.argmin(off, axis=0)]

    def where(self, place, at_end_line):
        """Return in which part of the dyke a place lies, in words."""
        if self.ends and np.hypot(*(place - self.way[-1])) < BESIDE:
            return "near a dyke's end"
        if len(self.strikes) == 1:
            return "straight, end lines" if at_end_line else "straight, inner lines"
        beside = np.hypot(*(place - self.way[1])) < BESIDE
        return "near a bend" if beside else "bent, beyond the bend"


def planted(rng, number, through, side):
    """Return a dyke through a place: four in ten are bent, three in ten end inside."""
    strike, turn = rng.uniform(62.0, 118.0), rng.uniform(5.0, 20.0) * rng.choice([-1.0, 1.0])
    depth = float(np.exp(rng.uniform(np.log(6.0), np.log(40.0))))
    width = min(float(np.exp(rng.uniform(np.log(2.0), np.log(30.0)))), 1.5 * depth)
    kind = {"depth": depth, "width": width, "dip": rng.uniform(60.0, 120.0), "dyke": number}
    bent, ends = rng.random() < 0.4, rng.random() < 0.3
    strikes = (strike, strike + turn) if bent else (strike,)
    first, last = (np.array([np.sin(s), np.cos(s)]) for s in np.radians(strikes)[[0, -1]])
    middle = np.array(through) + (rng.uniform(-0.3, 0.3) * side * first if bent else 0.0)
    reach = rng.uniform(0.1, 0.4) * side if ends else FAR
    way = np.array([middle - FAR * first, *([middle] if bent else []), middle + reach * last])
    pieces = [
        Piece(*((a + b) / 2.0), strike=s, length=float(np.hypot(*(b - a))), **kind)
        for a, b, s in zip(way[:-1], way[1:], strikes, strict=True)
    ]
    return Bent(way, strikes, ends, tuple(pieces))


def walked(rng, world, lines, length, extra):
    """Return recorded easting, northing, anomaly and line of readings; lines run north."""
    north = np.arange(0.0, length + 0.1, STEP)
    size, lag = rng.uniform(0.2, 1.8), rng.normal(0.0, 0.4)
    line = np.repeat(np.arange(lines), north.size)
    true = np.stack([SPACING * line + rng.normal(0.0, 0.3, line.size), np.tile(north, lines)])
    alike = np.exp(-STEP / TOGETHER)
    error = rng.normal(size=(2, lines, north.size))
    for k in range(1, north.size):
        fresh = np.sqrt(1.0 - alike**2) * error[:, :, k]
        error[:, :, k] = alike * error[:, :, k - 1] + fresh
    told = true + size * error.reshape(2, -1)
    told[1] += np.where(line % 2 == 0, -lag, lag)
    value = anomaly(world, *true) + (0.0 if extra is None else extra(*true))
    value += rng.normal(0.0, NOISE, line.size) + rng.normal(0.0, LEVEL, lines)[line]
    return *told, value, line


def traced(seed):
    """Return the dykes of one survey with the traces along them, and how many lines it has."""
    rng = np.random.default_rng(seed)
    lines, count = int(rng.integers(8, 36)), int(rng.integers(1, 4))
    side, length = SPACING * (lines - 1), float(rng.choice([300.0, 500.0]))
    apart = length / count
    norths = [length / 2.0 + (k - (count - 1) / 2.0) * apart + rng.uniform(-20, 20)
              for k in range(count)]  # fmt: skip
    dykes = [planted(rng, k, (side / 2.0, north), side) for k, north in enumerate(norths)]
    world = World(side, tuple(piece for dyke in dykes for piece in dyke.pieces))
    strewn = round(side * length / 3500.0)
    extra = boulders(seed, side=max(side, length), count=strewn) if rng.random() < 0.5 else None
    values, west, south, node = gridded(walked(rng, world, lines, length, extra), spacing=SPACING)
    ridges = trace_ridges(
        values, west_m=west, south_m=south, spacing_m=node, line_spacing_m=SPACING
    )
    found = []
    for ridge in ridges:
        corners = np.column_stack([ridge.easting_m, ridge.northing_m])
        off = [dyke.nearest(corners)[0] for dyke in dykes]
        best = int(np.argmin([np.median(one) for one in off]))
        if np.median(off[best]) <= SPACING / 2.0 and off[best].max() <= 1.2 * SPACING:
            found.append((dykes[best], corners))
    return found, lines


def rows_of(seed):
    """Return where each crossing of a line lies, whether it is held, how far off, and the sd."""
    found, lines = traced(seed)
    rows = []
    for dyke, corners in found:
        order = np.argsort(corners[:, 0])
        number = np.arange(lines)
        east = SPACING * number
        inside = (east >= corners[:, 0].min()) & (east <= corners[:, 0].max())
        north = np.interp(east[inside], *corners[order].T)
        places = np.column_stack([east[inside], north])
        if not places.size:
            continue
        told = local_strikes(corners, places, line_spacing_m=SPACING, towards_deg=90.0)
        right, off = held(told, dyke.nearest(places)[1])
        length = np.hypot(*np.diff(corners, axis=0).T).sum() / SPACING
        for k, line in enumerate(number[inside]):
            where = dyke.where(places[k], line in (0, lines - 1))
            rows.append({"seed": seed, "where": where, "length": float(length),
                         "held": bool(right[k]), "off": float(off[k]),
                         "sd": told[k].sd_deg})  # fmt: skip
    return rows
