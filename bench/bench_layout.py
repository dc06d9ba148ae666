"""Time laying out 500 line-km with 50 exclusions, beside a plain way with general libraries.

Run ``python bench/bench_layout.py``; it prints one Markdown table.
"""

import numpy as np
import shapely

from common import Row, medians, show
from lodewalk.adapters.line_clipping import across_extent, clipped_lines, line_offsets
from lodewalk.adapters.walking_route import shortest_walk
from lodewalk.methods.planning.walk_order import (
    Order,
    Pieces,
    empty_walking,
    improved,
)
from lodewalk.steps.plan_area import PlanArea, plan_area
from lodewalk.steps.plan_choice import LayoutChoice
from lodewalk.steps.plan_ground import Ground
from lodewalk.steps.plan_lines import Layout, laid_out
from lodewalk.survey.settings_before_going import EffortSettings, Handheld, PlanSettings
from planned_area import CRS, SOUTH, WEST, box, shapes_table

SIDE_M, SPACING_M, AZIMUTH_DEG = 3300.0, 20.0, 30.0
EXCLUSIONS = 50
SETTINGS = {
    "plan": PlanSettings().model_dump(mode="json"),
    "effort": EffortSettings().model_dump(mode="json"),
    "handheld": Handheld().model_dump(mode="json"),
}
CHOICE = LayoutChoice(AZIMUTH_DEG, SPACING_M, 10 * SPACING_M, {})


def exclusions(seed: int = 0) -> list[tuple[object, str, None]]:
    """Return ponds and buildings of many corners, and fences, roads and power lines."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(EXCLUSIONS):
        kind = ("water", "building", "fence", "road", "power line")[number % 5]
        place = rng.uniform(0, SIDE_M, 2) + np.array([WEST, SOUTH])
        turn = rng.uniform(0, np.pi)
        if kind in ("water", "building"):
            shape = shapely.Point(place).buffer(rng.uniform(30, 90), quad_segs=16)
        else:
            away = 300 * np.array([np.cos(turn), np.sin(turn)])
            shape = shapely.LineString([place, place + away])
        found.append((shape, kind, None))
    return found


def whole(area: object, out: object) -> Layout:
    """Lay out from the records as they are read: all but reading and writing files."""
    plan = plan_area(area, out, CRS, SETTINGS["plan"])  # type: ignore[arg-type]
    return laid_out(plan, CHOICE, Ground(None, CRS, CRS), SETTINGS)


def plain_clipping(area: PlanArea) -> list[object]:
    """Clip line by line, the exclusions one after the other, as a short script would."""
    parts = list(getattr(area.kept_clear, "geoms", [area.kept_clear]))
    low, high = across_extent(area.outline, AZIMUTH_DEG)
    turn = np.radians(AZIMUTH_DEG)
    along, across = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    reach = shapely.get_coordinates(area.outline) @ along
    found = []
    for place in low + line_offsets(high - low, SPACING_M):
        line = shapely.LineString(
            [place * across + end * along for end in (reach.min(), reach.max())]
        )
        line = line.intersection(area.outline)
        for part in parts:
            line = line.difference(part)
        found += [item for item in shapely.get_parts(line) if item.length >= 20]
    return found


def plain_order(layout: Layout) -> float:
    """Order each tour with the routing library; return the way between pieces [m]."""
    home = tuple(layout.stand.places[0].tolist())
    total = 0.0
    for tour in layout.tours:
        rows = np.sort(tour.order.piece)
        total += shortest_walk(
            layout.pieces.first[rows], layout.pieces.second[rows], start=home
        ).between_m
    return total


def own_order(layout: Layout) -> float:
    """Order each tour afresh by exchanges; return the way between pieces [m]."""
    home, total = layout.stand.places[0], 0.0
    for tour in layout.tours:
        rows = np.sort(tour.order.piece)
        pieces = Pieces(*(getattr(layout.pieces, n)[rows] for n in ("number", "first", "second")))
        poor = Order(np.arange(rows.size), np.zeros(rows.size, dtype=bool))
        total += empty_walking(
            pieces, improved(pieces, poor, start=home, end=home), start=home, end=home
        )
    return total


def rows() -> list[Row]:
    """Return a row for the whole layout and for two of its parts."""
    area = shapes_table([(box(0, 0, SIDE_M, SIDE_M), None, None)])
    out = shapes_table(exclusions())
    plan = plan_area(area, out, CRS, SETTINGS["plan"])
    layout = whole(area, out)
    jobs = {
        "whole": lambda: whole(area, out),
        "clipping": lambda: clipped_lines(
            plan.outline, plan.walkable, azimuth_deg=AZIMUTH_DEG, spacing_m=SPACING_M,
            shortest_m=20.0,
        ),
        "plain clipping": lambda: plain_clipping(plan),
        "order": lambda: own_order(layout),
        "plain order": lambda: plain_order(layout),
    }  # fmt: skip
    found = medians(jobs, rounds=3)
    length = np.hypot(*(layout.pieces.second - layout.pieces.first).T)
    lines = length[np.array(layout.kinds) == "line"].sum() / 1000
    empty = sum(tour.between_m for tour in layout.tours) / 1000
    said = (
        f"{lines:.0f} km of lines, {(length.sum() / 1000 - lines):.0f} km of ties, "
        f"{len(layout.names)} pieces, {len(layout.tours)} tours, {empty:.0f} km between; polygons, "
        "buffers, clipping, base, ways round 20 ponds and buildings, names, days, order"
    )
    km = own_order(layout) / 1000, plain_order(layout) / 1000
    plain = found["plain clipping"] + found["plain order"]
    return [
        Row("layout of 500 line-km, 50 exclusions", found["whole"],
            "shapely line by line, then pyvrp a tour", plain, said),
        Row("of it, clipping of the lines", found["clipping"],
            "shapely in a loop over lines and exclusions", found["plain clipping"]),
        Row("of it, order of each tour's pieces from the order of lines", found["order"],
            "pyvrp, 600 iterations a tour", found["plain order"],
            f"straight ways between: {km[0]:.1f} km here, {km[1]:.1f} km there"),
    ]  # fmt: skip


if __name__ == "__main__":
    show(rows())
