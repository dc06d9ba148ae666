"""Elongated bodies for which a plan is sought, strong and weak ones. Invented."""

from dataclasses import replace

import numpy as np

from detection_survey import Case, prepared
from lodewalk.methods.bodies.target import Body
from lodewalk.methods.planning.detection import layout_detection
from lodewalk.methods.planning.optimiser import rule_of_thumb

#: Expected score over the threshold: of weak bodies about one, of strong ones many. Weak ones lie
#: under noise that each reading has for itself, so that each line that is left out costs odds.
WEAK, STRONG = 1.0, 4.0
NOISY = {"white": (0.5, 3.0), "diurnal": (0.3, 600.0), "rocks": (0.3, 22.0), "soil": (0.2, 3.0)}


def problem(seed: int, *, strong: bool, size_m: tuple[float, float] = (220.0, 200.0)) -> Case:
    """Draw an elongated body and a survey by the rule of thumb; its contrast sets what it shows."""
    rng = np.random.default_rng([seed, 51])
    depth = rng.uniform(7.0, 12.0)
    strike = rng.uniform(0, 180)
    body = Body(
        kind=str(rng.choice(["dyke", "sheet"])),
        depth_m=depth,
        width_m=rng.uniform(0.2, 0.8) * depth,
        length_m=rng.uniform(8.0, 15.0) * depth,
        depth_extent_m=rng.uniform(60.0, 200.0),
        strike_deg=strike,
        dip_deg=rng.uniform(50.0, 130.0),
    )
    case = Case(
        f"{'strong' if strong else 'weak'} {body.kind} {seed}",
        body,
        (0.001, 0.001),
        rng.uniform(24_000, 58_000),
        rng.choice([-1, 1]) * rng.uniform(30, 80),
        rng.uniform(-20, 20),
        azimuth_deg=(strike + 90) % 180,
        strike_sd_deg=4.0,
        depth_factor=1.2,
        size_m=size_m,
        **({} if strong else NOISY),
    )
    case = with_plan(case, rule_of_thumb(prepared(case, draws=1).target, case.layout))
    found = layout_detection(
        case.area, case.layout, prepared=prepared(case, draws=16), noise=case.noise, places=8
    )
    wanted = (STRONG if strong else WEAK) * found.threshold
    middle = 0.001 * wanted / found.expected_score
    return replace(case, susceptibility=(middle / 1.15, middle * 1.15))


def with_plan(case: Case, layout) -> Case:
    """Return the case with other lines over the same area."""
    return replace(
        case,
        azimuth_deg=layout.azimuth_deg,
        spacing_m=layout.spacing_m,
        tie_spacing_m=layout.tie_spacing_m,
        corners=tuple(map(tuple, case.area)),
    )
