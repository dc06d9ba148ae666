"""The rover's clock against its track's: zigzag of anomalies, and turns against marks.

Surveys are those of the tests: lines there and back over dykes that bend and fade, oblique to the
lines; a handheld's track with 1 to 2 m of wander. Other seeds than those on which the methods were
tuned. Run ``python bench/evidence_clock_track.py``; it prints one Markdown section.
"""

import runpy
import time
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from common import BENCH
from lodewalk.methods.checks.clocks.evidence import ClockEvidence
from lodewalk.methods.checks.clocks.turns import turns_offset
from lodewalk.methods.checks.clocks.zigzag import zigzag_offset
from lodewalk.services.demo.field import World
from lodewalk.services.demo.instruments import record_walk
from lodewalk.services.demo.scenario import Scenario
from lodewalk.services.demo.variation import variation

OF_TEST = runpy.run_path(str(BENCH.parent / "test/methods/checks/clocks/test_zigzag.py"))
Survey, survey, any_survey = OF_TEST["Survey"], OF_TEST["survey"], OF_TEST["any_survey"]
NINETY = 1.645
SOUND, SLIPPED, ANY, FEW = 400, 300, 300, 60
TURNS = 100
SLIPS_S = tuple(
    sign * hours * 3600.0 + more
    for hours in (1, 2, 5.5, 12, 24)
    for sign in (1, -1)
    for more in (0.0, 18.0)
)
DEMO_SEED = 7


def zigzags(seeds: Iterable[int], offset_s: float | None, **rule: object) -> list[tuple]:
    """Return (evidence, true offset) of one survey for each seed."""
    found = []
    for seed in seeds:
        drawn = np.random.default_rng([seed, 2]).uniform(-50, 50)
        true = drawn if offset_s is None else offset_s
        parts = survey(seed, true, any_survey(seed, **rule))
        found.append((zigzag_offset(**parts), true))
    return found


def turned(seeds: Iterable[int], slips_s: tuple[float, ...], *, pauses: bool, stops: bool) -> list:
    """Return (evidence, true offset) by marks, or by pauses or stands without marks."""
    found = []
    for seed in seeds:
        true = slips_s[seed % len(slips_s)]
        rule = any_survey(seed, pauses=pauses)
        if stops:
            rule = replace(rule, lines=40, length_m=600.0, spacing_m=20.0)
        parts = survey(seed, true, rule)
        if pauses or stops:
            parts["line"] = np.full(parts["line"].size, -1)
        if not stops:
            del parts["field_nT"]
        found.append((turns_offset(**parts), true))
    return found


def row(name: str, found: list[tuple[ClockEvidence, float]]) -> str:
    """Return one line of a table."""
    offset, sd, true = np.array([(item.offset_s, item.sd_s, true) for item, true in found]).T
    said = np.isfinite(offset)
    head = f"| {name} | {offset.size:,} | {np.mean(sd <= 2.0):.1%} "
    if not said.any():
        return head + "| | | | | 0.0% |"
    error = np.abs(offset[said] - true[said])
    claimed = np.zeros(offset.size, dtype=bool)
    claimed[said] = np.abs(offset[said]) > 3 * sd[said]
    right = said & (sd <= 2.0)
    right[said] &= error < 3 * sd[said]
    return (
        head + f"| {right.mean():.1%} "
        f"| {np.median(error):.2f} / {np.quantile(error, 0.95):.2f} s "
        f"| {np.median(sd[said]):.2f} s "
        f"| {np.mean(error <= NINETY * sd[said]):.1%} | {claimed.mean():.1%} |"
    )


def demo_row(offset_s: float) -> list[str]:
    """Return what is found for the demo's rover with a handheld, its clock set apart."""
    scenario = Scenario()
    rovers = tuple(replace(rover, clock_offset_s=offset_s) for rover in scenario.rovers)
    world = World(replace(scenario, rovers=rovers), DEMO_SEED)
    lines = []
    for day in scenario.days:
        change = variation(day, seed=DEMO_SEED)
        walks = [plan for plan in day.walks if not world.scenario.rover(plan.rover).own_positions]
        for plan in walks:
            record, track = record_walk(world, day, plan, change_nT=change)
            names = np.where(record.walked.line == "check", "", record.walked.line)
            clock = record.walked.time_s + offset_s
            place = {
                "track_time_s": track.time_s,
                "track_easting": track.received.easting_m,
                "track_northing": track.received.northing_m,
            }
            by_zigzag = zigzag_offset(clock, record.field_nT, names, **place)
            by_turns = turns_offset(clock, names, **place)
            lines.append(
                f"| {plan.rover}, {day.date}, {len(plan.lines)} lines | {offset_s:g} s "
                f"| {told(by_zigzag)} | {told(by_turns)} |"
            )
    return lines


def told(found: ClockEvidence) -> str:
    """Return an offset in words."""
    if not np.isfinite(found.offset_s):
        return found.state
    return f"{found.offset_s:.1f} ± {found.sd_s:.1f} s, {found.state}"


def speed_line() -> str:
    """Return the time for a day of about 30,000 readings."""
    parts = survey(1, 18.0, Survey(lines=49, length_m=600.0))
    zigzag_offset(**parts)
    times = []
    for method in (zigzag_offset, turns_offset):
        begin = time.process_time()
        method(**parts)
        times.append(time.process_time() - begin)
    return (
        f"{parts['time_s'].size:,} readings of 49 lines take {times[0]:.2f} s of one core for the "
        f"zigzag and {times[1]:.2f} s for the turns."
    )


def section() -> str:
    clear = [
        zigzags(range(100_000, 100_000 + SOUND), 0.0),
        zigzags(range(110_000, 110_000 + SLIPPED), 18.0),
        zigzags(range(120_000, 120_000 + ANY), None),
    ]
    head = "| | trials | sd ≤ 2 s | and right within 3 sd | error, median / 95 % | median sd "
    head += "| 90 % interval covers | slip claimed |\n|---|---:|---:|---:|---:|---:|---:|---:|"
    every = [item for part in clear for item in part]
    return "\n".join(
        [
            "## The rover's clock against its track's",
            "",
            "10 to 24 lines there and back, 300 to 600 m long and 10 to 50 m apart, over one to "
            "three dykes (peak 20 to 150 nT, 6 to 40 m deep, 35 to 90 degrees from the lines, "
            "bent by up to 5 m, fading by 30 %), raw field with 25 nT of daily variation, track "
            "with 1 to 2 m of wander. A slip is claimed when it is more than 3 sd from zero.",
            "",
            "Zigzag of anomalies between opposite-going lines:",
            "",
            head,
            row("clock sound", clear[0]),
            row("18 s", clear[1]),
            row("-50 to 50 s", clear[2]),
            row("all three", every),
            row(
                "18 s, peak 3 to 8 nT",
                zigzags(range(130_000, 130_000 + FEW), 18.0, peak_nT=(3.0, 8.0)),
            ),
            row("18 s, no dyke", zigzags(range(140_000, 140_000 + FEW), 18.0, dykes=0)),
            "",
            "Turns of the track against starts and ends of lines (slips of 1, 2, 5.5, 12 and 24 h, "
            "both signs, with and without 18 s more):",
            "",
            head,
            row("marks, gross slips", turned(range(TURNS), SLIPS_S, pauses=False, stops=False)),
            row("marks, 18 s", turned(range(500, 500 + FEW), (18.0,), pauses=False, stops=False)),
            row(
                "marks, clock sound",
                turned(range(600, 600 + FEW), (0.0,), pauses=False, stops=False),
            ),
            row(
                "pauses only, gross",
                turned(range(700, 700 + FEW), SLIPS_S, pauses=True, stops=False),
            ),
            row(
                "stands only, 40 lines", turned(range(800, 830), SLIPS_S, pauses=False, stops=True)
            ),
            "",
            f"The demo (seed {DEMO_SEED}), rover whose positions come from a handheld:",
            "",
            "| walk | planted | zigzag | turns |",
            "|---|---:|---|---|",
            *demo_row(18.0),
            *demo_row(0.0),
            "",
            speed_line(),
        ]
    )


if __name__ == "__main__":
    print(section())
