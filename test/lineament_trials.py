"""Trials of traced lineaments: swarms of dykes with faults, and maps of noise alone."""

from dataclasses import dataclass, field

import numpy as np

from lineament_match import Match, match
from lineament_world import World, boulders, gridded, soil, swarm, walked
from lodewalk.methods.lineaments.faults import find_offsets
from lodewalk.methods.lineaments.markers import LEAST_ALIKE, follow_marker
from lodewalk.methods.lineaments.strike import strike_of
from lodewalk.methods.lineaments.trace import trace_ridges
from lodewalk.steps.trace import LEAST_LINES

NINETY = 1.645
#: An offset is right when it is told within this many line spacings of its true place.
NEAR = 3.0


@dataclass
class Outcome:
    """What came of some swarms: matches, strikes and offsets against their errors."""

    matches: list[Match] = field(default_factory=list)
    strikes: list[tuple[float, float]] = field(default_factory=list)
    offsets: list[tuple[float, float]] = field(default_factory=list)
    faults: int = 0
    told: int = 0


def traced(world, *, spacing, noise, seed, extra=None, least_evidence=0.95):
    """Return the ridges traced from the grid of a walked world."""
    readings = walked(
        world, spacing=spacing, noise=noise, step=spacing / 10, seed=seed, extra=extra
    )
    values, west, south, node = gridded(readings, spacing=spacing)
    ridges = trace_ridges(
        values, west_m=west, south_m=south, spacing_m=node, line_spacing_m=spacing,
        least_evidence=least_evidence,
    )  # fmt: skip
    return [ridge for ridge in ridges if believed(ridge, readings, spacing)]


def believed(ridge, readings, spacing):
    """Tell whether lines agree on a ridge, as the step trace asks."""
    marker = follow_marker(ridge, *readings, line_spacing_m=spacing)
    return marker.passage.size >= LEAST_LINES and not marker.alike < LEAST_ALIKE


def way(ridge):
    return np.column_stack([ridge.easting_m, ridge.northing_m])


def angle(difference):
    """Return a difference of strikes in -90 to 90 degrees."""
    return (difference + 90.0) % 180.0 - 90.0


def owner(ridge, world, spacing):
    """Return the piece of a dyke on whose line at least half of a ridge lies, or None."""
    place = way(ridge)
    for piece in world.pieces:
        first, last = piece.ends
        along = (last - first) / piece.length
        ahead = (place - first) @ along
        aside = (place - first) @ [along[1], -along[0]]
        on = (
            (np.abs(aside) <= spacing / 2) & (ahead >= -spacing) & (ahead <= piece.length + spacing)
        )
        if on.mean() >= 0.5:
            return piece
    return None


def trial(seeds, *, spacing=20.0, noise=1.0, inclination=-35.0):
    """Return what came of the swarms of some seeds; a side is forty line spacings."""
    outcome = Outcome()
    for seed in seeds:
        world = swarm(seed, spacing=spacing, side=40 * spacing, inclination=inclination)
        ridges = traced(world, spacing=spacing, noise=noise, seed=seed)
        outcome.matches.append(match(world, [way(r) for r in ridges], spacing, 3 * spacing))
        for ridge in ridges:
            piece = owner(ridge, world, spacing)
            if piece is not None:
                found = strike_of(ridge, line_spacing_m=spacing)
                outcome.strikes.append((angle(found.strike_deg - piece.strike), found.sd_deg))
        _offsets(outcome, world, find_offsets(ridges, line_spacing_m=spacing), spacing)
    return outcome


def _offsets(outcome, world, told, spacing):
    """Compare offsets that are told with the true ones."""
    outcome.told += len(told)
    for _, size, east, north in world.offsets:
        outcome.faults += 1
        near = [
            one for one in told
            if np.hypot(one.easting_m - east, one.northing_m - north) < NEAR * spacing
        ]  # fmt: skip
        if near:
            best = min(near, key=lambda one: abs(one.offset_m - size))
            outcome.offsets.append((best.offset_m - size, best.sd_m))


def coverage(pairs):
    """Return the share of errors inside their 90 % intervals."""
    error, sd = np.array(pairs).reshape(-1, 2).T
    return float(np.mean(np.abs(error) <= NINETY * sd)) if error.size else float("nan")


def noise_maps(seeds, *, kind, spacing=20.0):
    """Return the evidences of all lines traced from maps without any dyke.

    Kinds: "white" noise of the sensor; "shallow" or "deep" a rough field of a quarter or one and a
    quarter line spacings' depth besides; "boulders" strewn in the soil.
    """
    side = 40 * spacing
    found = []
    for seed in seeds:
        extra = None
        if kind in ("shallow", "deep"):
            extra = soil(seed, depth=(0.25 if kind == "shallow" else 1.25) * spacing, side=side)
        elif kind == "boulders":
            extra = boulders(seed, side=side)
        ridges = traced(
            World(side, ()), spacing=spacing, noise=1.0, seed=seed, extra=extra,
            least_evidence=0.5,
        )  # fmt: skip
        found.append([ridge.evidence for ridge in ridges])
    return found
