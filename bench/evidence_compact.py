"""Compact bodies under walked lines: coverage of depth, moment and cone, and what is refused.

Blocks and ellipsoids (``test/compact_world.py``), 10 m below the sensor, under lines 8 to 16 m
apart; each line has an error of its own and lies aside. Strong dykes as well, of 5 to 40 % of the
field (``test/strong_dyke.py``), with noise that neighbours share and the fit isn't told of. Run
``python bench/evidence_compact.py [bodies] [first seed]``; it prints one Markdown section.
"""

import sys

import numpy as np

import common  # noqa: F401  (finds the tests' modules)
from compact_world import DEPTH_M, beside, body, direction
from lodewalk.methods.bodies import ambient_vector, exact_anomaly
from lodewalk.methods.inversion.choice import fit_profile, noise_rows
from lodewalk.methods.inversion.compact_window import (
    CompactReadings,
    direction_at_place,
    fit_at_place,
)
from lodewalk.methods.inversion.models import Ambient
from lodewalk.methods.inversion.pooled_noise import pooled_noises
from lodewalk.methods.inversion.results import Profile
from lodewalk.methods.inversion.strong import as_measured, beyond_projection, projected
from lodewalk.steps.compact import REACHES
from strong_dyke import strong_dyke

BODIES, FIRST = 150, 95_000
#: Error of a line's level [nT] and of its place on either axis [m], noise of a reading [nT].
LEVEL, ASIDE, SENSOR = 1.0, 0.3, 0.5


def walked(rng, *, with_other=False):
    """Return readings over a body, half sides of windows, ambient field, the moment's direction."""
    spacing, step = float(rng.uniform(8.0, 16.0)), 1.5
    line, along = (part.ravel() for part in np.meshgrid(np.arange(-6, 7), np.arange(-60, 61, step)))
    ambient = ambient_vector(
        strength_nT=rng.uniform(25e3, 60e3),
        inclination_deg=float(rng.uniform(20.0, 85.0) * rng.choice([-1, 1])),
        declination_deg=float(rng.uniform(-180.0, 180.0)),
    )
    aside = rng.normal(0.0, ASIDE, (2, 13))
    places = np.array([line * spacing, along, np.zeros(line.size)])
    true = places + np.vstack([aside[:, line + 6], np.zeros(line.size)])
    centre = np.array([*rng.uniform(-0.5, 0.5, 2) * spacing, -DEPTH_M])
    own, unit = direction(rng), ambient / np.linalg.norm(ambient)
    field = beside(rng, true, centre, own, unit) if with_other else body(rng, true, centre, own)
    field *= rng.uniform(50.0, 500.0) / np.abs(np.tensordot(unit, field, 1)).max()
    data = exact_anomaly(tuple(field), ambient_nT=ambient) + rng.normal(0.0, SENSOR, line.size)
    data += rng.normal(0.0, LEVEL, 13)[line + 6] + rng.normal(0.0, 20.0)
    full = np.ones(line.size)
    readings = CompactReadings(*places, data, SENSOR * full, line + 6, LEVEL * full, ASIDE * full)
    reaches = tuple(spacing * reach for reach in REACHES)
    return readings, reaches, ambient, own


def compact_rows(bodies: int, first: int) -> list[str]:
    """Return a row for bodies alone and one for bodies with another beside them."""
    rows = []
    for name, other in (("alone", False), ("another beside it", True)):
        depth, cone, told, turned = [], [], 0, 0
        for seed in range(first, first + bodies):
            rng = np.random.default_rng(seed)
            readings, reaches, ambient, own = walked(rng, with_other=other)
            found = fit_at_place(readings, (0.0, 0.0), reaches_m=reaches, ambient_nT=ambient)
            if found.fit.problem:
                continue
            told += 1
            deep = found.fit.estimates["depth_m"]
            depth.append((deep.low <= DEPTH_M <= deep.high, deep.value / DEPTH_M - 1.0))
            way = direction_at_place(found, readings, ambient_nT=ambient)
            if not way.problem:
                turned += 1
                off = np.degrees(np.arccos(np.clip(way.direction @ own, -1.0, 1.0)))
                cone.append((off <= way.cone_deg, off))
        inside, error = np.array(depth).T if depth else np.zeros((2, 1))
        held, off = np.array(cone).T if cone else np.zeros((2, 1))
        rows.append(
            f"| {name} | {told} of {bodies} | {100 * inside.mean():.0f} % | "
            f"{100 * np.quantile(abs(error), 0.95):.0f} % | {turned} | {100 * held.mean():.0f} % | "
            f"{np.quantile(off, 0.95):.1f} |"
        )
    return rows


def strong_row(bodies: int, first: int, *, exact: bool) -> str:
    """Return the row of strong dykes by the exact difference, or by the projection."""
    inside, told, error = 0, 0, []
    for seed in range(first, first + bodies):
        rng = np.random.default_rng(seed)
        dyke = strong_dyke(rng, peak=(0.05, 0.4))
        half = rng.uniform(50.0, 80.0) + dyke.half
        x = np.arange(-half, half, rng.uniform(0.8, 2.0))
        soil = np.linalg.cholesky(
            np.exp(-abs(x[:, None] - x) / 8.0) + 1e-9 * np.eye(x.size)
        ) @ rng.normal(0.0, 5.0, x.size)
        measured = dyke.anomaly(x) + soil + rng.normal(0.0, 1.0, x.size)
        profile, beyond = Profile(x, measured), None
        if exact:
            beyond = beyond_projection(
                profile, Ambient(dyke.strength, dyke.inclination, dyke.azimuth)
            )
            if beyond.problem:
                continue
            profile = projected(profile, beyond)
        found = fit_profile(profile, noise=pooled_noises([profile], [noise_rows(profile)])[0])
        if found.problem or found.depth is None:
            continue
        found = found if beyond is None else as_measured(found, beyond)
        told += 1
        inside += found.depth.low <= dyke.depth <= found.depth.high
        error.append(abs(found.depth.value / dyke.depth - 1.0))
    way = "exact difference" if exact else "projection alone"
    return (
        f"| {way} | {told} of {bodies} | {100 * inside / max(told, 1):.0f} % | "
        f"{100 * np.quantile(error, 0.95):.1f} % |"
    )


def main() -> None:
    """Print the section."""
    given = [int(value) for value in sys.argv[1:3]]
    bodies, first = (*given, *(BODIES, FIRST)[len(given) :])
    print("## Compact bodies under lines, and strong dykes\n")
    print("| body | told | depth inside 90 % | its error, 95 % | direction told | inside cone | "
          "error, 95 % [deg] |\n|---|---|---|---|---|---|---|")  # fmt: skip
    print("\n".join(compact_rows(bodies, first)))
    print("\n| strong dykes (5 to 40 % of the field) | told | depth inside 90 % | error, 95 % |\n"
          "|---|---|---|---|")  # fmt: skip
    for exact in (False, True):
        print(strong_row(bodies, first, exact=exact))


if __name__ == "__main__":
    main()
