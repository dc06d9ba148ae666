"""Direction of magnetisation and depth of compact bodies: errors, coverage, what is refused.

The bodies (``test/compact_world.py``) are blocks and ellipsoids, not what is fitted. Limits of
`compact.py` and `remanence.py` were set on other seeds. Run ``python bench/evidence_remanence.py
[windows of each kind] [first seed]``; it prints one Markdown section.
"""

import sys
from dataclasses import dataclass

import numpy as np
from scipy.stats import binom

import common  # noqa: F401  (finds the tests' modules)
from compact_world import DISTURBED, World, compact_world
from lodewalk.methods.inversion.remanence import MagnetisationDirection, magnetisation_direction

WINDOWS, FIRST = 150, 90_000


@dataclass(frozen=True)
class Told:
    """A window and what was told of it."""

    world: World
    told: MagnetisationDirection

    def error(self, direction: np.ndarray) -> float:
        """Return the angle between a direction and the true one [deg]."""
        share = direction @ self.world.direction / np.linalg.norm(direction)
        return float(np.degrees(np.arccos(np.clip(share, -1.0, 1.0))))

    def inside(self, name: str, truth: float) -> bool:
        """Tell whether a 90 % interval holds the truth."""
        found = self.told.fit.estimates[name]
        return found.low <= truth <= found.high


def told(world: World) -> Told:
    """Return what is told of a window."""
    found = magnetisation_direction(
        world.values, west_m=world.east[0, 0], south_m=world.north[0, 0],
        spacing_m=world.spacing, height_m=0.0, ambient_nT=world.ambient, sd_nT=world.sd,
        noise=world.noise,
    )  # fmt: skip
    return Told(world, found)


def alone_row(name: str, found: list[Told]) -> str:
    """Return the row of a group of isolated bodies."""
    kept = [one for one in found if not one.told.problem]
    fit = np.array([one.error(one.told.direction) for one in kept])
    pole = np.array([one.error(one.told.by_correlation) for one in kept])
    pole = pole[np.isfinite(pole)]
    shown = [f"{np.quantile(part, q):.1f}" if part.size else "-" for part in (fit, pole)
             for q in (0.5, 0.95, 1.0)]  # fmt: skip
    over = int((fit > 10.0).sum())
    cone = np.mean([one.error(one.told.direction) <= one.told.cone_deg for one in kept])
    depth = np.mean([one.inside("depth_m", -one.world.centre[2]) for one in kept])
    place = np.mean([one.inside("easting_m", one.world.centre[0]) for one in kept])
    low, high = (binom.ppf(q, len(kept), 0.9) / len(kept) for q in (0.005, 0.995))
    return (
        f"| {name} | {len(found)} | {len(found) - len(kept)} | {' | '.join(shown)} | {over} "
        f"| {cone:.3f} | {depth:.3f} | {place:.3f} | {low:.2f} to {high:.2f} |"
    )


def refused_row(name: str, found: list[Told]) -> str:
    """Return the row of a kind of disturbance."""
    kinds = [one.told.kind for one in found]
    names = sorted({kind for kind in kinds if kind}, key=kinds.count, reverse=True)
    missed = [one.error(one.told.direction) for one in found if not one.told.problem]
    share = 1.0 - len(missed) / len(found)
    bad = sum(error > 10.0 for error in missed)
    worst = f"{max(missed):.1f}" if missed else "-"
    told_as = ", ".join(f"{kind} {kinds.count(kind)}" for kind in names)
    return f"| {name} | {len(found)} | {share:.3f} | {told_as} | {bad} | {worst} |"


def report(groups: dict[str, list[Told]], disturbed: dict[str, list[Told]]) -> str:
    lines = [
        "## Direction of magnetisation of compact bodies",
        "",
        "Blocks and ellipsoids (aspect up to 2) of any direction of magnetisation under windows of "
        "2.2 to 4 depths each way, noise white or shared by neighbours; signal to noise is the "
        "largest anomaly over a node's sd. Error: angle to the truth, median, 95th percentile and "
        "largest, of those told. Inside: share of 90 % cones and intervals that hold the truth, "
        "beside the 99 % band of that many trials of 0.9.",
        "",
        "| isolated bodies | windows | refused | fit: median | 95 % | largest | pole: median "
        "| 95 % | largest | fit over 10 deg | cone | depth | easting | 99 % band |",
        "|---|" + "---:|" * 13,
    ]
    lines += [alone_row(name, found) for name, found in groups.items()]
    lines += [
        "",
        "Disturbed: another body 1 to 3 depths away and 0.3 to 1 times as strong; a body 3 to 8 "
        "times as long as wide; a centre less than 0.8 depths inside the window's edge or up to "
        "0.3 outside. Signal to noise 20 to 200.",
        "",
        "| disturbed by | windows | refused | told as | not refused and over 10 deg | largest "
        "error not refused |",
        "|---|---:|---:|---|---:|---:|",
    ]
    lines += [refused_row(name, found) for name, found in disturbed.items()]
    lines.append(refused_row("all", [one for found in disturbed.values() for one in found]))
    return "\n".join(lines)


def section(windows: int = WINDOWS, first: int = FIRST) -> str:
    def every(kind: str, start: int, **how: tuple[float, float]) -> list[Told]:
        seeds = range(first + start, first + start + windows)
        return [told(compact_world(seed, kind, **how)) for seed in seeds]

    groups = {
        "signal to noise 20 to 200, field dips 15 to 90": every("alone", 0, dip=(15.0, 90.0)),
        "the same, field dips 0 to 15": every("alone", 10_000, dip=(0.0, 15.0)),
        "signal to noise 8 to 20": every("alone", 20_000, signal=(8.0, 20.0)),
    }
    disturbed = {kind: every(kind, 30_000 + 10_000 * i) for i, kind in enumerate(DISTURBED)}
    return report(groups, disturbed)


if __name__ == "__main__":
    print(section(*map(int, sys.argv[1:])))
