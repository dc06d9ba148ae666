"""One body for all profiles of a lineament: its depth below the mean ground, its angle, width."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.inversion.joint import JointFit, fit_joint
from lodewalk.methods.inversion.over_profiles import Mean, over_profiles
from lodewalk.methods.inversion.results import (
    NINETY,
    BodyFit,
    Estimate,
    Noise,
    Profile,
    ProfileFit,
)
from lodewalk.steps.bodies import Stand, body_row

#: Kinds that are fitted to several profiles together.
KINDS = ("thin sheet", "dyke", "contact")
#: Those that are strips, thin or thick.
STRIPS = ("thin sheet", "dyke")
LEVEL, FOLLOWS, OPEN = "level", "follows the ground", "not told"
#: What is said of each; the first words are read where the section is drawn.
SAID = {
    LEVEL: "Its top is taken as level.",
    FOLLOWS: "Its top is taken as one that follows the ground.",
    OPEN: "Whether its top is level or follows the ground is not told.",
}
MEAN_GROUND = "The depth is that below the mean ground of its profiles."
#: Fewest profiles from which a depth is told together.
LEAST_PROFILES = 2
#: A probability below this counts as this, so that one profile doesn't rule a kind out.
LEAST = 1e-6
#: Probability from which a level top, or one that follows the ground, is told.
TOLD = 0.95
#: Rounds in which the mean depth and the errors settle, and the least depth of an error [m].
ROUNDS, LEAST_M = 3, 0.5


@dataclass(frozen=True)
class Single:
    """What one profile says of its body.

    For each kind its depth below the ground there [m] and the error of the depth below the sensor
    as a part of it, thin and thick strips as one family, and of that kind alone; height of the
    sensor above the ground and of the ground, NaN where unknown [m].
    """

    kind: str
    depths: Mapping[str, tuple[float, float]]
    alone: Mapping[str, tuple[float, float]]
    sensor_m: float
    ground_m: float
    index_angle: Estimate
    position: Estimate
    probability: dict[str, float]


@dataclass(frozen=True)
class Line:
    """All profiles of one lineament by what they say alone, and those that are fitted together."""

    name: str
    singles: tuple[Single, ...]
    profiles: tuple[Profile, ...]
    noises: tuple[Noise, ...]


@dataclass(frozen=True)
class Joint:
    """A joint fit, how its top lies, and the probability that this is level."""

    fit: JointFit
    top: str
    problem: str = ""
    level: float = float("nan")
    together: JointFit | None = None


def fit_together(line: Line) -> Joint:
    """Return the body that the profiles of a lineament share.

    Width and strength are fitted to the profiles together. Depth and index angle are the means of
    what each profile says alone of such a body, with the spread between profiles: profiles of one
    body differ by their neighbours and by the height of the sensor, which a fit together takes for
    noise. The width is open and alike in all: how far the depth of the most probable kind alone
    lies from that over thin and thick ones counts as one standard deviation that they share.
    """
    chances = kind_chances(line.singles)
    kind = max(chances, key=lambda name: chances[name])
    try:
        found = fit_joint(line.profiles, noises=line.noises, kind=kind)
        if found.problem:
            return Joint(found, OPEN, found.problem)
        together = found
        depth, level, between = _mean_depth(line.singles, kind)
        alone = _mean_depth([replace(one, depths=one.alone) for one in line.singles], kind)[0]
        depth = _wider(depth, abs(alone.value - depth.value))
        angle, turned = _mean_angle(line.singles, kind == "contact")
    except (InputError, np.linalg.LinAlgError) as error:
        return Joint(JointFit(kind), OPEN, str(error))
    found = replace(
        found,
        estimates={**found.estimates, "depth_m": depth, "index_angle_deg": angle},
        spread={**found.spread, "depth_m": between, "index_angle_deg": turned},
        profiles=len(line.singles),
    )
    top = LEVEL if level >= TOLD else FOLLOWS if level <= 1.0 - TOLD else OPEN
    return Joint(found, top, level=level, together=together)


Depths = dict[str, tuple[float, float]]


def depths_of(found: ProfileFit) -> tuple[Depths, Depths]:
    """Return the depth below the sensor by kind, and its standard deviation as a part of it.

    A strip's width is open: in the first thin and thick ones are one family, whose depth is that of
    both by their probability; in the second each kind stands alone.
    """
    told = {
        fit.kind: (found.probability.get(fit.kind, 0.0), fit.estimates["depth_m"])
        for fit in found.fits
    }
    usable = {k: one for k, one in told.items() if one[0] > 0.0 and one[1].sd > 0.0}
    depths: Depths = {}
    for family in (STRIPS, ("contact",)):
        parts = [usable[kind] for kind in family if kind in usable]
        if parts:
            share = np.array([chance for chance, _ in parts])
            value, sd = (np.array([getattr(one, n) for _, one in parts]) for n in ("value", "sd"))
            mean = float(np.average(value, weights=share))
            spread = float(np.average(sd**2 + (value - mean) ** 2, weights=share))
            depths.update(dict.fromkeys(family, (mean, float(np.sqrt(spread)) / mean)))
    return depths, {kind: (one.value, one.sd / one.value) for kind, (_, one) in usable.items()}


def kind_chances(singles: Sequence[Single]) -> dict[str, float]:
    """Return the probability of each kind that all profiles show, from theirs alone."""
    logs = {
        kind: sum(np.log(max(one.probability.get(kind, 0.0), LEAST)) for one in singles)
        for kind in KINDS
    }
    most = max(logs.values())
    weights = {kind: float(np.exp(log - most)) for kind, log in logs.items()}
    return {kind: weight / sum(weights.values()) for kind, weight in weights.items()}


def _wider(depth: Estimate, common: float) -> Estimate:
    """Return a depth with an error that all profiles share: what their open width leaves open."""
    low, high = (
        float(np.hypot(end - depth.value, NINETY * common)) for end in (depth.low, depth.high)
    )
    sd = float(np.hypot(depth.sd, common))
    return replace(depth, sd=sd, low=depth.value - low, high=depth.value + high)


def _mean_depth(every: Sequence[Single], kind: str) -> tuple[Estimate, float, float]:
    """Return the depth below the mean ground, the probability of a level top, the spread [m].

    A level top has one height, another one depth below the ground; which the profiles show is
    told by the likelihoods of the two, and the depth is that of both by their probability.
    """
    singles = [one for one in every if kind in one.depths]
    if len(singles) < LEAST_PROFILES:
        raise InputError("Too few profiles show one and the same kind of body.", value=len(singles))
    ground = np.array([one.ground_m for one in singles])
    follows = _mean_over(singles, kind, np.zeros(len(singles)))
    if not np.isfinite(ground).all():
        return follows.estimate, 0.0, follows.between
    level = _mean_over(singles, kind, ground - np.mean([one.ground_m for one in every]))
    odds = np.exp(np.clip(level.log_likelihood - follows.log_likelihood, -50.0, 50.0))
    share = float(odds / (1.0 + odds))
    parts = ((share, level), (1.0 - share, follows))
    value = sum(p * one.estimate.value for p, one in parts)
    low, high, error = (
        float(np.sqrt(sum(p * (getattr(one.estimate, end) - value) ** 2 for p, one in parts)))
        for end in ("low", "high", "value")
    )
    own = float(np.sqrt(sum(p * one.estimate.sd**2 for p, one in parts)))
    estimate = Estimate(value, float(np.hypot(own, error)), value - low, value + high)
    return estimate, share, sum(p * one.between for p, one in parts)


def _mean_over(singles: Sequence[Single], kind: str, above_m: NDArray[np.float64]) -> Mean:
    """Return the mean depth below a ground, that of each profile being so much higher [m].

    The error of a depth below the sensor is a part of it. It is taken of the depth that the mean
    gives there, lest values that came out too shallow weigh more for that.
    """
    depth, part = np.array([one.depths[kind] for one in singles]).T
    depth, sensor = depth - above_m, np.array([one.sensor_m for one in singles])
    mean = float(np.median(depth))
    for _ in range(ROUNDS):
        sd = part * np.maximum(mean + above_m + sensor, np.maximum(sensor, LEAST_M))
        found = over_profiles(depth, sd)
        mean = found.estimate.value
    return found


def _mean_angle(singles: Sequence[Single], edge: bool) -> tuple[Estimate, float]:
    """Return the index angle over the profiles of such a body and the spread between them [deg].

    That of an edge isn't that of a strip: profiles that show the other of the two are left out.
    """
    own = [one.index_angle for one in singles if (one.kind == "contact") == edge]
    value = np.array([one.value for one in own])
    value = value[:1] + (value - value[:1] + 180.0) % 360.0 - 180.0
    sd = np.array([max(one.sd, 1e-3) for one in own])
    found = over_profiles(value, sd)
    turn = (found.estimate.value + 180.0) % 360.0 - 180.0 - found.estimate.value
    mean = found.estimate
    return Estimate(mean.value + turn, mean.sd, mean.low + turn, mean.high + turn), found.between


def joint_row(
    line: Line, joint: Joint, stands: Sequence[Stand], strike_deg: float
) -> dict[str, Any]:
    """Return the body of a lineament as a row: depth below mean ground, place at its middle."""
    fit, middle = joint.fit, len(stands) // 2
    sensor = float(np.mean([stand.sensor_height_m for stand in stands]))
    ground = float(np.mean([one.ground_m for one in line.singles]))
    stand = replace(
        stands[middle],
        azimuth_deg=(strike_deg + 90.0) % 360.0,
        sensor_height_m=sensor,
        ground_m=ground if np.isfinite(ground) else None,
    )
    own = fit.estimates["depth_m"]
    estimates = {
        **fit.estimates,
        "position_m": line.singles[middle].position,
        "depth_m": replace(
            own, value=own.value + sensor, low=own.low + sensor, high=own.high + sensor
        ),
    }
    said = [MEAN_GROUND, SAID[joint.top]]
    if fit.differ:
        said.append(
            "The profiles differ by more than noise gives: the intervals hold the spread between "
            "them."
        )
    nothing = np.zeros(0)
    body = BodyFit(
        fit.kind, estimates, (), np.zeros((0, 0)), nothing, nothing, nothing, fit.cost,
        fit.freedom, not_resolved=tuple(said),
    )  # fmt: skip
    chance = kind_chances(line.singles)[fit.kind]
    about = {
        "body": line.name,
        "pick": None,
        "lineament": line.name,
        "probability": chance,
        "decidable": chance >= TOLD,
        "profiles": fit.profiles,
    }
    flat = Profile(np.array([-1.0, 1.0]), np.zeros(2))
    return body_row(about, body, flat, stand)


def joint_note(joint: Joint) -> dict[str, Any]:
    """Return what was found of a lineament besides its body."""
    fit = joint.fit
    return {
        "problem": joint.problem or None,
        "kind": fit.kind,
        "top": joint.top,
        "level_probability": None if not np.isfinite(joint.level) else round(joint.level, 4),
        "profiles": fit.profiles,
        "chance": None if not np.isfinite(fit.chance) else round(fit.chance, 6),
        "differ": fit.differ,
        "spread": {name: round(value, 4) for name, value in fit.spread.items()},
    }
