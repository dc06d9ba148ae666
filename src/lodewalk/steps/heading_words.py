"""What the heading step tells: how much was taken off, how sure, and what it rests on."""

from collections.abc import Mapping
from typing import Any

from lodewalk.steps.findings import FindingList, amount

NINETY = 1.645
#: How a test says which way was faced.
HOW = 'name the facings, as in "test: turn-around N" for each or --item "N NE E SE S SW W NW"'


def tell(found: FindingList, values: Mapping[str, Any], *, tolerance_nT: float) -> None:
    """Tell the heading error of each rover."""
    for rover in values["rovers"]:
        name = rover["instrument"]
        if not values["applied"]:
            text = _off(rover, values["expected_nT"])
        elif rover["one_way"]:
            text = "all lines were walked one way, so no heading error is between them; 0 taken off"
        elif not rover["used"]:
            text = _nothing(rover)
        else:
            text = _found(rover, tolerance_nT)
        found.add("heading", f"{name}: {text}.", instrument=name)
        if rover["unfaced_tests"]:
            tests = amount(rover["unfaced_tests"], "turn-around test")
            text = f"{name}: {tests} can't be used for the heading error: {HOW}, or walk it."
            found.add("heading", text, instrument=name)


def _off(rover: Mapping[str, Any], expected_nT: float) -> str:
    """Return that nothing is taken off since it was so chosen."""
    counted = f"{rover['sd_nT']:.2f} nT (one sd)" if not rover["one_way"] else "none, all one way,"
    return (
        f"the heading correction is turned off; of the {expected_nT:g} nT expected at a heading "
        f"{counted} is counted in the error of the lines"
    )


def _nothing(rover: Mapping[str, Any]) -> str:
    """Return that nothing tells the error."""
    return (
        "nothing tells the heading error (no turn-around test with facings, no crossing of lines, "
        "no lines side by side); nothing is taken off, and an expected "
        f"{rover['sd_nT']:.2f} nT (one sd) is counted in the error of the lines"
    )


def _found(rover: Mapping[str, Any], tolerance_nT: float) -> str:
    """Return how much was taken off, how sure it is and what tells it."""
    size, half = rover["spread_nT"], NINETY * rover["spread_sd_nT"]
    against = "over" if size > tolerance_nT else "within"
    counts = rover["evidence"]
    parts = [
        amount(counts["turn"], "stand") + f" in {amount(rover['tests'], 'turn-around test')}",
        amount(counts["crossing"], "crossing"),
        amount(counts["neighbour"], "line between neighbours", "lines between neighbours"),
    ]
    kinds = ("turn", "crossing", "neighbour")
    told = ", ".join(part for part, kind in zip(parts, kinds, strict=True) if counts[kind])
    out = f", {rover['rejected']} of them left out as outliers" if rover["rejected"] else ""
    more = "; headings that were not walked stay partly open" if rover["open_parts"] else ""
    return (
        f"a heading error of {size:.2f} nT peak to peak over the directions walked (90 %: "
        f"{max(size - half, 0.0):.2f} to {size + half:.2f} nT; {against} the tolerance of "
        f"{tolerance_nT:g} nT) is taken off, {rover['sd_nT']:.2f} nT (one sd) stay in the error of "
        f"the lines; from {told}{out}{more}"
    )
