"""Bridged base gaps on real records: error against the straight line, and coverage.

Gaps of an hour are cut into the six real days that the test of the bridge describes, at other
starts and with other seeds than the test and the choice of the constants had. Where no registry
can be reached, it says so. Run ``python bench/evidence_bridging.py``; it prints one Markdown
section.
"""

import importlib
from collections.abc import Callable, Iterator
from itertools import chain

import numpy as np

import common  # noqa: F401  (puts the tests on the path)

fetch = importlib.import_module("outside.fetch")
real = importlib.import_module("outside.test_bridging")

EVERY_S = 1100.0
AFTER_S = 137.0
SEED = 2024
Ways = dict[str, Callable[[object, float], dict[str, object]]]

NOTE = """Gaps of an hour in a base record of a reading each 10 s, Conrad Observatory, six days,
each day by itself; gaps overlap ({every:.0f} s from start to start). Cells: rms error of the bridge
over that of the straight line across the gap; share of gaps in which it is worse than the line;
share of minutes inside the 90 % interval (base noise of {noise:g} nT stated; added, since the truth
is a reading). The second instrument is real. The second base is the record plus 3 % of the east
component, 2 % of what the field does within 20 minutes, and noise of 0.07 nT; the observatory is
made of minute means with 30 % of the east component, 20 % of the short variation and 0.1 nT.
Revisits: so many an hour at random times of the gap, the partner within four hours, in the gap or
not; noise Gaussian, of the sd stated, one in twenty five times as large. Quiet days: 9 May for 10
and 12 May, 10 May for 9 May; few days look alike enough to be used."""


def revisits(an_hour: float, noise_nT: float) -> Callable[[object, float], dict[str, object]]:
    def aids(day: object, start: float) -> dict[str, object]:
        end = start + real.HOUR
        pairs = real.revisits_in(day, start, end, an_hour=an_hour, noise_nT=noise_nT, seed=SEED)
        return {"revisits": pairs}

    return aids


def along(kind: Callable[[object], object]) -> Callable[[object, float], dict[str, object]]:
    made: dict[str, object] = {}

    def aids(day: object, _: float) -> dict[str, object]:
        if day.name not in made:
            made[day.name] = kind(day)
        return {"others": [made[day.name]]}

    return aids


def quiet(days: list[object]) -> Callable[[object, float], dict[str, object]]:
    by_name = {day.name: day for day in days}

    def aids(day: object, _: float) -> dict[str, object]:
        name = "2024-05-10" if day.name == "2024-05-09" else "2024-05-09"
        if not day.name.startswith("2024"):
            return {}
        other = by_name[name]
        return {"quiet_days": real.Readings(other.time_s, other.field_nT)}

    return aids


def ways(days: list[object]) -> Ways:
    return {
        "sides alone": lambda _day, _start: {},
        "quiet day": quiet(days),
        "10 revisits of 1 nT": revisits(10, 1.0),
        "20 revisits of 0.5 nT": revisits(20, 0.5),
        "30 revisits of 0.3 nT": revisits(30, 0.3),
        "second instrument": along(real.second_instrument),
        "second base": along(real.second_base),
        "observatory": along(real.observatory),
    }


def scores(day: object, aids: Callable[[object, float], dict[str, object]]) -> list[object]:
    starts = real.starts(day, every_s=EVERY_S, after_s=AFTER_S)
    return [real.bridged(day, at, at + real.HOUR, **aids(day, at))[1] for at in starts]


def cell(found: list[object]) -> str:
    worse = np.mean([score.bridge > score.line for score in found])
    return f"{real.ratio(found):.3f}, {worse:.0%}, {real.coverage(found):.3f}"


def stopped(days: list[object]) -> Iterator[str]:
    """Yield, for both kinds of other record, what a base that stopped gives hour by hour."""
    for kind in (real.second_base, real.observatory):
        inside, errors, sds = [], [], []
        for day in days:
            other = kind(day)
            for start in np.arange(day.time_s[0] + 3 * real.HOUR, day.time_s[-1] - 11_000, 1400):
                bridge = real.died(day, start, start + 3 * real.HOUR, other)
                error = bridge.at.value_nT - day.field_at(bridge.at.time_s)
                inside.append(np.abs(error) <= 1.645 * bridge.at.sd_nT)
                errors.append(error**2)
                sds.append(bridge.at.sd_nT**2)
        hours = [
            np.mean(part, axis=0).reshape(3, 60).mean(axis=1) for part in (errors, sds, inside)
        ]
        cells = [f"{e**0.5:.2f} ({s**0.5:.2f}), {c:.3f}" for e, s, c in zip(*hours, strict=True)]
        yield (
            f"| {kind.__name__.replace('_', ' ')} | {len(inside)} | "
            + " | ".join([*cells, f"{np.mean(inside):.3f}"])
            + " |"
        )


def section() -> str:
    try:
        folder = fetch.folder_of(fetch.GEOMAGPY)
    except fetch.UnreachableError as error:
        return f"## Bridged base gaps\n\nNot measured: no registry could be reached ({error})."
    names = ("example4.cdf", "example1.zip", "example2.cdf", "example5.sec")
    days = real.real_days(*(folder / name for name in names))
    rows = {name: [scores(day, way) for day in days] for name, way in ways(days).items()}
    line_nT = [np.sqrt(np.mean([s.line for s in found])) for found in rows["sides alone"]]
    heads = [f"{day.name}, line {rms:.2f} nT" for day, rms in zip(days, line_nT, strict=True)]
    number = sum(map(len, rows["sides alone"]))
    lines = [
        "## Bridged base gaps",
        "",
        NOTE.format(every=EVERY_S, noise=real.BASE_NOISE_NT),
        "",
        "| bridge from | " + " | ".join([*heads, f"all {number} gaps"]) + " |",
        "|---" * (len(heads) + 2) + "|",
    ]
    for name, found in rows.items():
        cells = [cell(part) for part in [*found, list(chain.from_iterable(found))]]
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    lines += [
        "",
        "A base that stopped for good, after up to eight hours of record, followed along another: "
        "rms error (predicted) [nT] and share inside the 90 % interval in the first, second and "
        "third hour.",
        "",
        "| along | times | first hour | second | third | all |",
        "|---" * 6 + "|",
    ]
    return "\n".join([*lines, *stopped(days)])


if __name__ == "__main__":
    print(section())
