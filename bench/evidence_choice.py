"""Kind and depth of planted dykes and contacts: how often right, how often the intervals hold.

Run ``python bench/evidence_choice.py``; it prints one Markdown section. The seeds are not those
of the tests, and nothing was tuned on them.
"""

import sys
import time
from collections.abc import Callable, Sequence

import numpy as np

from common import NINETY  # noqa: F401  also puts the tests' planted profiles on the path
from lodewalk.methods.inversion.choice import fit_profile
from lodewalk.methods.inversion.results import Noise, ProfileFit
from lodewalk.methods.inversion.shared_width import Said, shared_body
from planted_profiles import Planted, across, planted

TRIALS = 200 if "--short" in sys.argv else 1200
FIRST = 300_000
Trial = tuple[Planted, ProfileFit]


def trials(told: Callable[[Planted], Noise | None], first: int, count: int) -> list[Trial]:
    """Return planted profiles with what is said of them."""
    found = []
    for seed in range(first, first + count):
        case = planted(seed)
        found.append((case, fit_profile(case.profile, noise=told(case))))
    return found


def row(name: str, cases: Sequence[Trial]) -> str:
    """Return one row: problems, decided, right, held, median width of the interval."""
    answered = [(case, fit) for case, fit in cases if not fit.problem]
    decided = [(case, fit) for case, fit in answered if fit.decidable]
    right = [fit.fits[0].kind == case.kind for case, fit in decided]
    held = [
        fit.depth is not None and fit.depth.low <= case.depth_m <= fit.depth.high
        for case, fit in answered
    ]
    wide = [
        (fit.depth.high - fit.depth.low) / 2.0 / case.depth_m
        for case, fit in answered
        if fit.depth is not None
    ]
    said = f"{np.mean(right):.1%} of {len(right)}" if right else "none"
    return (
        f"| {name} | {len(cases)} | {1 - len(answered) / len(cases):.1%} "
        f"| {len(decided) / max(len(answered), 1):.0%} | {said} | {np.mean(held):.1%} "
        f"| {np.median(wide):.1%} |"
    )


def table(cases: Sequence[Trial]) -> list[str]:
    """Return the rows of one way to know the noise."""
    groups: dict[str, Callable[[Planted], bool]] = {
        "all": lambda _: True,
        "white noise": lambda case: case.noise.correlated_nT == 0.0,
        "correlated noise": lambda case: case.noise.correlated_nT > 0.0,
        "thin sheets": lambda case: case.kind == "thin sheet",
        "dykes": lambda case: case.kind == "dyke",
        "contacts": lambda case: case.kind == "contact",
        "noise under 1 %": lambda case: case.share < 0.01,
        "noise 1 to 3 %": lambda case: 0.01 <= case.share < 0.03,
        "noise over 3 %": lambda case: case.share >= 0.03,
    }
    return [
        row(name, [case for case in cases if chosen(case[0])]) for name, chosen in groups.items()
    ]


#: Height of the sensor above ground [m].
SENSOR = 2.0

HEAD = """| profiles | trials | no answer | told | right where told | depth held | half interval |
|---|---|---|---|---|---|---|"""


def joint_trials(count: int) -> str:
    """Return how often joint fits of five profiles hold what these share, of one depth or many."""
    rows = []
    for name, spread in (("one depth", 0.0), ("depths 20 % apart", 0.2)):
        held: dict[str, list[bool]] = {"depth_m": [], "half_width_m": []}
        for seed in range(FIRST, FIRST + count):
            rng = np.random.default_rng(seed)
            width = 10.0 * float(np.exp(rng.uniform(np.log(0.2), np.log(4.0))))
            some = [
                across(rng, depth=10.0 * float(np.exp(spread * rng.normal())), width=width)
                for _ in range(5)
            ]
            found = [fit_profile(one, noise=Noise()) for one in some]
            body = shared_body([Said(one.widths, SENSOR, np.nan) for one in found if one.widths])
            truth = {"depth_m": 10.0 - SENSOR, "half_width_m": width / 2.0}
            for quantity, own in held.items():
                if quantity in body.estimates:
                    one = body.estimates[quantity]
                    own.append(one.low <= truth[quantity] <= one.high)
        depth, half = (np.mean(own) for own in held.values())
        rows.append(
            f"| {name} | {count} | {depth:.1%} | {half:.1%} of {len(held['half_width_m'])} |"
        )
    head = "| five profiles of | trials | mean depth held | half width held, where told |"
    return "\n".join([head, "|---|---|---|---|", *rows])


def main() -> None:
    begin = time.process_time()
    known = trials(lambda case: case.noise, FIRST, TRIALS)
    each = (time.process_time() - begin) / TRIALS
    own = trials(lambda _: None, FIRST + TRIALS, TRIALS // 3)
    print("## Thin or thick, dyke or contact\n")
    print(
        "Kinds alike often, width 0.05 to 5 of the depth, noise 0.3 to 10 % of the anomaly's "
        f"range, half of them with a shared error; {1e3 * each:.0f} ms of processor a profile.\n"
    )
    print("Noise known:\n")
    print("\n".join([HEAD, *table(known)]))
    print("\nNoise estimated from the profile:\n")
    print("\n".join([HEAD, *table(own)]))
    print("\nJoint fits, noise 3 %, widths 0.2 to 4 of the depth:\n")
    print(joint_trials(TRIALS // 4))


if __name__ == "__main__":
    main()
