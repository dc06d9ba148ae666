"""Trials of strikes that come from the trace, and of the fits that use them.

First a line: squares of errors of strikes, over those told, of traces drawn from the very
assumptions (`test/drawn_courses.py`). Then three tables. Strikes of dykes, straight and bent, that
were walked with errors of place (`test/bent_dykes.py`; gridded and traced only, so that there are
many). Strikes of bodies that swing to both sides, whose trace is made up
(`test/crossed_traces.py`). And planted dykes, inner and end lines: each survey is made, read,
gridded, traced and fitted by the program itself. The truth is what was planted; strikes, depths,
widths and places are asked whether their 90 % intervals hold it.

    python bench/evidence_strike.py [--surveys N] [--first SEED] [--traced N] [--traced-first SEED]
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "test"))

import bent_dykes
import drawn_courses
from crossed_traces import SPACING, crossed, held, swing
from dyked_survey import SENSOR, Dyke, make_dyked_survey
from lodewalk.methods.lineaments.local_strike import local_strikes
from lodewalk.survey.run import run
from lodewalk.survey.store import read_product
from small_survey import SOUTH, WEST

SURVEYS, FIRST = 60, 43_000
TRACED, TRACED_FIRST, SWINGING = 200, 52_000, 40
#: Traces drawn from the assumptions.
DRAWN = 3_000
NAMES = ("strike", "depth", "width", "place")
NINETY = 1.6448536269514722


def planted(rng: np.random.Generator) -> tuple[Dyke, int]:
    """Return a dyke, thin to thick and in any direction that lines can cut, and lines over it."""
    lines = int(rng.integers(5, 10))
    middle = WEST + 10.0 * (lines - 1), SOUTH + 120.0 + float(rng.uniform(-10.0, 10.0))
    return Dyke(
        depth=float(np.exp(rng.uniform(np.log(6.0), np.log(16.0)))),
        half_width=float(np.exp(rng.uniform(np.log(1.0), np.log(12.0)))),
        amplitude=float(np.exp(rng.uniform(np.log(40.0), np.log(200.0)))),
        index_deg=float(rng.uniform(-180.0, 180.0)),
        strike=float(rng.uniform(58.0, 122.0)),
        middle=middle,
    ), lines


def rows_of(folder: Path, seed: int) -> Iterator[dict[str, Any]]:
    """Yield what each pick of a survey's lineament along the dyke holds."""
    dyke, lines = planted(np.random.default_rng(seed))
    survey = make_dyked_survey(folder, dyke, lines=lines, noise=0.5, seed=seed)
    settings = survey.settings_file
    # The planted height of the sensor is exact, as the positions are.
    settings.write_text(f"{settings.read_text()}sensor_height_sd_m = 0.0\n")
    run(survey, to="fits", workers=1)
    picks = {row["pick"]: row for row in read_product(survey, "picks").frame.iter_rows(named=True)}
    for body in read_product(survey, "bodies").frame.iter_rows(named=True):
        pick = picks.get(body["pick"])
        if pick is None or pick["strike_sd_deg"] is None:
            continue
        off = (pick["azimuth_deg"] - 90.0 - dyke.strike + 90.0) % 180.0 - 90.0
        beside = float(dyke.across(body["easting_m"], body["northing_m"]))
        # The place of a contact is its edge: of a dyke that is told as one, either of its edges.
        edge = abs(abs(beside) - (dyke.half_width if body["kind"] == "contact" else 0.0))
        width = body["width_low_m"], body["width_high_m"]
        yield {
            "end": pick["line"] in ("L1", f"L{lines}"),
            "off": off,
            "strike": abs(off) <= NINETY * pick["strike_sd_deg"],
            "depth": body["depth_low_m"] <= dyke.depth - SENSOR <= body["depth_high_m"],
            "width": None
            if body["width_high_m"] is None
            else (width[0] or 0.0) <= 2.0 * dyke.half_width <= width[1],
            "place": edge <= NINETY * body["position_sd_m"],
            "kind": body["kind"],
            "chance": body["probability"],
        }


def traced_table(surveys: int, first: int) -> None:
    """Print how often strikes of traced dykes are held, by where on the dyke they are told."""
    rows = [row for seed in range(first, first + surveys) for row in bent_dykes.rows_of(seed)]
    parts = [(where, [row for row in rows if row["where"] == where])
             for where in sorted({row["where"] for row in rows})]  # fmt: skip
    parts.append(("shorter than ten lines", [row for row in rows if row["length"] < 10.0]))
    parts.append(("all", rows))
    print("| where | surveys | strikes | held | off, rms [deg] | told, median [deg] |")
    print("|---|---:|---:|---:|---:|---:|")
    for where, own in parts:
        held_, off, sd = (np.array([row[key] for row in own]) for key in ("held", "off", "sd"))
        count = len({row["seed"] for row in own})
        print(f"| {where} | {count} | {len(own)} | {held_.mean():.2f} "
              f"| {np.sqrt(np.mean(off**2)):.1f} | {np.median(sd):.1f} |", flush=True)  # fmt: skip
    print()


def drawn_line(traces: int, first: int) -> None:
    """Print how large squares of errors are over those told, where all that is assumed holds."""
    found = drawn_courses.squares(first, traces)
    # places of one trace err together, so a trace counts once
    each = found.mean(axis=1)
    sd = each.std(ddof=1) / np.sqrt(traces)
    print(f"{traces} traces drawn from the assumptions: squares of errors over those told "
          f"{each.mean():.3f} +- {sd:.3f} (sd of the mean); by place",
          ", ".join(f"{value:.2f}" for value in found.mean(axis=0)), "\n", flush=True)  # fmt: skip


def swinging_table(traces: int, first: int) -> None:
    """Print how often strikes of bodies that swing are held, by length and size of the swing."""
    print("| swing, lines long | to either side [deg] | held | off, rms [deg] | told, rms [deg] |")
    print("|---:|---:|---:|---:|---:|")
    for length, size in ((40.0, 5.0), (20.0, 5.0), (10.0, 5.0), (6.0, 5.0), (10.0, 2.0)):
        rng = np.random.default_rng(first)
        right, off, sd = [], [], []
        for _ in range(traces):
            turn = swing(length, size, rng.uniform(0.0, 2.0 * np.pi))
            corners, strikes, _ = crossed(rng, lines=24, turn=turn, error=0.05)
            found = local_strikes(corners, corners[::2], line_spacing_m=SPACING, towards_deg=30.0)
            one, how = held(found, strikes[::2])
            right += one.tolist()
            off += how.tolist()
            sd += [told.sd_deg for told in found]
        rms = (np.sqrt(np.mean(np.square(values))) for values in (off, sd))
        print(f"| {length:g} | {size:g} | {np.mean(right):.2f} |",
              " | ".join(f"{value:.1f}" for value in rms), "|", flush=True)  # fmt: skip
    print()


def main() -> None:
    """Print how often each interval holds what was planted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=SURVEYS)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--traced", type=int, default=TRACED)
    parser.add_argument("--traced-first", type=int, default=TRACED_FIRST)
    options = parser.parse_args()
    if options.traced:
        drawn_line(DRAWN, options.traced_first)
        traced_table(options.traced, options.traced_first)
        swinging_table(SWINGING, options.traced_first)
    rows: list[dict[str, Any]] = []
    for seed in range(options.first, options.first + options.surveys):
        with TemporaryDirectory() as folder:
            rows += rows_of(Path(folder), seed)
    print("| lines | picks | rms of strike [deg] |", " | ".join(f"{n} held" for n in NAMES), "|")
    print("|---|---|---|" + "---|" * len(NAMES))
    for name, end in (("inner", False), ("end", True)):
        own = [row for row in rows if row["end"] == end]
        off = np.sqrt(np.mean([row["off"] ** 2 for row in own])) if own else np.nan
        told = ([row[key] for row in own if row[key] is not None] for key in NAMES)
        held = (f"{sum(part)} of {len(part)} ({np.mean(part):.2f})" if part else "-"
                for part in told)  # fmt: skip
        print(f"| {name} | {len(own)} | {off:.2f} |", " | ".join(held), "|", flush=True)


if __name__ == "__main__":
    main()
