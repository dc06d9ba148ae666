"""One body for all profiles of a lineament: its depth below the mean ground, its angle, width."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.inversion.results import BodyFit, Estimate, Profile
from lodewalk.methods.inversion.shared_width import Said, SharedBody, shared_body
from lodewalk.steps.bodies import Stand, body_row

LEVEL, FOLLOWS, OPEN = "level", "follows the ground", "not told"
#: What is said of each; the first words are read where the section is drawn.
SAID = {
    LEVEL: "Its top is taken as level.",
    FOLLOWS: "Its top is taken as one that follows the ground.",
    OPEN: "Whether its top is level or follows the ground is not told.",
}
MEAN_GROUND = "The depth is that below the mean ground of its profiles."
#: Probability from which a level top, one that follows the ground, or a kind is told.
TOLD = 0.95


@dataclass(frozen=True)
class Line:
    """All profiles of one lineament by what they say alone.

    `places` are those of the body on each profile, `misfit` the sum of the squared whitened
    residuals of their own fits and its degrees of freedom.
    """

    name: str
    said: tuple[Said, ...]
    places: tuple[Estimate, ...]
    misfit: tuple[float, int]


@dataclass(frozen=True)
class Joint:
    """The body that the profiles share, or why there is none, and how its top lies."""

    body: SharedBody | None
    top: str = OPEN
    problem: str = ""


def fit_together(line: Line) -> Joint:
    """Return the body that the profiles of a lineament share, with their width."""
    try:
        body = shared_body(line.said)
    except InputError as error:
        return Joint(None, problem=str(error))
    top = OPEN
    if body.level >= TOLD:
        top = LEVEL
    elif body.level <= 1.0 - TOLD or np.isnan(body.level):
        top = FOLLOWS
    return Joint(body, top)


def joint_row(
    line: Line, joint: Joint, stands: Sequence[Stand], strike_deg: float
) -> dict[str, Any]:
    """Return the body of a lineament as a row: depth below mean ground, place at its middle."""
    body, middle = joint.body, len(stands) // 2
    assert body is not None
    sensor = float(np.mean([stand.sensor_height_m for stand in stands]))
    ground = float(np.mean([one.ground_m for one in line.said]))
    stand = replace(
        stands[middle],
        azimuth_deg=(strike_deg + 90.0) % 360.0,
        sensor_height_m=sensor,
        ground_m=ground if np.isfinite(ground) else None,
    )
    own = body.estimates["depth_m"]
    estimates = {
        **body.estimates,
        "position_m": line.places[middle],
        "depth_m": replace(
            own, value=own.value + sensor, low=own.low + sensor, high=own.high + sensor
        ),
    }
    said, nothing = (MEAN_GROUND, SAID[joint.top]), np.zeros(0)
    fit = BodyFit(
        body.kind, estimates, (), np.zeros((0, 0)), nothing, nothing, nothing, *line.misfit,
        not_resolved=said,
    )  # fmt: skip
    chance = body.probability[body.kind]
    about = {
        "body": line.name,
        "pick": None,
        "lineament": line.name,
        "probability": chance,
        "decidable": chance >= TOLD,
        "profiles": len(line.said),
    }
    flat = Profile(np.array([-1.0, 1.0]), np.zeros(2))
    return body_row(about, fit, flat, stand)


def joint_note(line: Line, joint: Joint) -> dict[str, Any]:
    """Return what was found of a lineament besides its body."""
    body = joint.body
    if body is None:
        return {"problem": joint.problem}
    return {
        "problem": None,
        "kind": body.kind,
        "probability": {kind: round(p, 6) for kind, p in body.probability.items()},
        "top": joint.top,
        "level_probability": None if not np.isfinite(body.level) else round(body.level, 4),
        "profiles": len(line.said),
        "spread": {name: round(value, 4) for name, value in body.spread.items()},
    }
