"""Days, kilometres and effort of a laid-out plan, with what they rest on in words."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, timedelta
from typing import Any

import numpy as np

from lodewalk.methods.planning.effort import (
    AGAIN_RANGE,
    TERRAIN_PACE,
    WALKING_RANGE,
    StandBy,
    Work,
    effort,
)
from lodewalk.methods.planning.storm_odds import STAND_BY_NT, standby_share
from lodewalk.records.planning import PlannedLines
from lodewalk.steps.plan_crossings import power_crossings
from lodewalk.steps.plan_ground import Ground
from lodewalk.steps.plan_lines import Layout
from lodewalk.steps.plan_words import counted


def plan_days(
    layout: Layout, lines: PlannedLines, settings: Mapping[str, Any], power: Any
) -> list[dict[str, Any]]:
    """Return kilometres, hours and crossings of power lines of each day, rover by rover."""
    rovers = settings["effort"]["rovers"]
    first = settings["plan"]["first_day"]
    rows = lines.frame
    found = []
    for day in range(1, -(-len(layout.tours) // rovers) + 1):
        tours = list(range((day - 1) * rovers, min(day * rovers, len(layout.tours))))
        parts = [
            _rover_row(layout, rows.filter(day=day, rover=tour % rovers + 1), tour, tour % rovers)
            for tour in tours
        ]
        for part in parts:
            own = rows.filter(day=day, rover=part["rover"])
            part["power_crossings"] = power_crossings(own, layout.stand.places[0], power)
        found.append(
            {
                "day": day,
                "date": _date(first, day),
                "kilometres": round(sum(part["kilometres"] for part in parts), 3),
                "hours": max(part["hours"] for part in parts),
                "rovers": parts,
            }
        )
    return found


def _date(first: str | None, day: int) -> str | None:
    """Return the date of a field day, every day of the week being one."""
    return (date.fromisoformat(first) + timedelta(days=day - 1)).isoformat() if first else None


def _rover_row(layout: Layout, rows: Any, tour: int, rover: int) -> dict[str, Any]:
    """Return kilometres and hours of one rover on one day."""
    walk = layout.tours[tour]
    by_kind = {
        kind: float(rows.filter(kind=kind)["ground_length_m"].sum()) / 1000
        for kind in ("line", "tie")
    }
    repeat = layout.repeat
    twice = 0.0 if repeat is None else 2 * repeat.length_m / 1000
    between = walk.between_m / 1000
    if repeat is not None:
        between += (repeat.from_base_m + repeat.to_base_m) / 1000
    total = by_kind["line"] + by_kind["tie"] + twice + between
    return {
        "rover": rover + 1,
        "lines_km": round(by_kind["line"], 3),
        "ties_km": round(by_kind["tie"], 3),
        "repeat_km": round(twice, 3),
        "between_km": round(between, 3),
        "kilometres": round(total, 3),
        "hours": round(walk.walking_s / 3600, 2),
        "pieces": int(walk.order.piece.size),
    }


def kilometres(days: list[dict[str, Any]]) -> dict[str, float]:
    """Return the kilometres of a plan by kind."""
    parts = [part for day in days for part in day["rovers"]]
    names = ("lines_km", "ties_km", "repeat_km", "between_km")
    found = {name: round(sum(part[name] for part in parts), 3) for name in names}
    return found | {"total_km": round(sum(found.values()), 3)}


def plan_effort(
    layout: Layout, settings: Mapping[str, Any], storms: StandBy, ground: Ground
) -> dict[str, Any]:
    """Return the effort of a plan, with its assumptions."""
    own, rovers = settings["effort"], settings["effort"]["rovers"]
    work = Work(
        np.array([tour.walking_s for tour in layout.tours]),
        rovers,
        own["set_up_h"],
        float(layout.ground.length_m.sum()),
        own["cutting_m_h"],
        own["reading_interval_s"],
        own["base_interval_s"],
        own["battery_h"],
        own["memory_readings"],
    )
    found = {
        name: round(value, 2) if isinstance(value, float) else value
        for name, value in asdict(effort(work, storms)).items()
    }
    return found | {"assumptions": _assumptions(layout, own, storms, ground)}


def storms_at(latitude_deg: float, longitude_deg: float, year: float | None) -> StandBy:
    """Return the share of field days that storms take; without a year, of any year."""
    low, high = standby_share(latitude_deg, longitude_deg, decimal_year=year, span="morning")
    return StandBy(low, (low + high) / 2, high)


def _assumptions(
    layout: Layout, own: Mapping[str, Any], storms: StandBy, ground: Ground
) -> list[str]:
    """Say what the effort rests on."""
    low, _, high = WALKING_RANGE
    slope = (
        "slopes slow the pace (Tobler 1993), mean of both ways"
        if ground.mesh is not None
        else "no terrain was given: the ground counts as level"
    )
    cut = (
        f"A crew opens {own['cutting_m_h']:g} m of line in an hour; all lines and ties are cut."
        if own["cutting_m_h"] is not None
        else "No line is cut."
    )
    through = f"times {TERRAIN_PACE[own['terrain']]:g} through {own['terrain']} (common practice)"
    return [
        f"Pace {own['pace_m_s']:g} m/s on open, level ground, {through}: "
        f"{layout.pace_m_s:.2f} m/s; {slope}.",
        f"{own['hours_a_day']:g} h a day in the field, {own['set_up_h']:g} h of them for set-up "
        f"and tests; {counted(own['rovers'], 'rover')} at the same time; every day of the week "
        "is one.",
        "Each rover starts and ends at the base and walks the repeat line both times; ways lead "
        "round water and buildings; the way to the base isn't counted.",
        f"At best the walking takes {low:g} times as long and nothing is walked again, at worst "
        f"{high:g} times, and {AGAIN_RANGE[2]:.0%} again; most likely {AGAIN_RANGE[1]:.0%} "
        "(common practice).",
        f"Storms: spans of six hours in which the field ranges over {STAND_BY_NT:g} nT in three "
        f"hours here (as lodewalk site tells): {storms.quiet_year:.1%} in a quiet year, "
        f"{storms.active_year:.1%} in a disturbed one; most likely the mean of the two.",
        f"A reading each {own['reading_interval_s']:g} s (rover) and {own['base_interval_s']:g} s "
        "(base, from 15 min before the rover to 15 min after it); a battery lasts "
        f"{own['battery_h']:g} h.",
        cut,
    ]  # fmt: skip
