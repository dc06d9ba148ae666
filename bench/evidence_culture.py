"""Faults and culture in a rover's readings: found, told apart, and what is cut by mistake.

Faults are planted into seeded walks over spheres and dykes, as the tests of `classify_rover` make
them, with other seeds; bodies below ground are walked over without any fault; fences of posts
cross from 3 to 20 lines; and the demo is compared with its truth. Run
``python bench/evidence_culture.py``; it prints one Markdown section.
"""

import runpy
import time
from collections import Counter

import numpy as np
import polars as pl

from common import BENCH
from evidence_demo import demo_table
from lodewalk.methods.bodies import (
    ambient_vector,
    block_field,
    dipping_block,
    exact_anomaly,
    induced_magnetisation,
)
from lodewalk.methods.checks.culture import classify_rover, find_beats
from outside import fetch
from outside.readers import read_rio

OF_TEST = runpy.run_path(str(BENCH.parent / "test/methods/checks/culture/test_classify.py"))
NOISE_NT = 0.2
SENSOR_M = 1.8
EARTH_RADIUS_M = 6_371_000.0


def section() -> str:
    return "\n\n".join(
        "\n".join(part)
        for part in (planted(), bodies(), irons(), fences(), beats(), demo_lines(), rio(), timing())
    )


def planted() -> list[str]:
    lines = [
        "## Spikes and culture of a rover",
        "",
        "Faults planted into walks over spheres and dykes (6 lines of 250 m, 1.8 m above ground, a "
        "reading each 1.1 m give or take 6 %, noise 0.25 nT); spikes of one or two readings, from "
        "the larger of 10 noise sd and 3 times the largest second difference around up to 12 "
        "times that. Share of the readings that are dropped.",
        "",
        "| walks | number | spikes | dropouts with edges | bursts of noise | shifts | sound "
        "| sound, steepest tenth |",
        "|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    walk, plant = OF_TEST["walk"], OF_TEST["plant"]
    names = ("spike", "dropout", "burst", "shift", "sound", "steepest")
    for name, count, sources in (("12 spheres", 60, 12), ("40 spheres", 40, 40)):
        found = OF_TEST["share"](
            range(2000, 2000 + count), lambda seed, n=sources: plant(walk(seed, bodies=n), seed)
        )
        cells = [f"{found[kind]:.2%}" for kind in names]
        lines.append(f"| {name} | {count} | " + " | ".join(cells) + " |")
    return lines


def bodies() -> list[str]:
    lines = [
        "Single bodies below ground, walked over at any place and angle: share of bodies of which "
        "a reading is dropped, and of which one is called surface iron. On a line of 90 readings "
        "noise alone costs a reading as often as the last row says.",
        "",
        "| body | peak | bodies | cut | called surface iron |",
        "|---|---|---:|---:|---:|",
    ]
    strong = ((2.0, 20.0), (20.0, 200.0), (200.0, 2000.0))
    makers = {"sphere": sphere, "dyke": dyke, "prism": prism}
    for name, make in (*makers.items(), ("no body", lambda _, along: np.ones(along.size))):
        for low, high in strong if name in makers else strong[:1]:
            rng = np.random.default_rng([len(name), int(low)])
            cut, iron = [], []
            for _ in range(300):
                along = np.cumsum(1.1 * (1 + 0.06 * rng.normal(size=90)))
                field = make(rng, along - rng.uniform(45, 53))
                field *= np.exp(rng.uniform(*np.log([low, high]))) / np.abs(field).max()
                events = walk_line(along, field + rng.normal(scale=NOISE_NT, size=90))
                cut.append(events.dropped.any())
                iron.append((events.cause == "surface iron").any())
            lines.append(
                f"| {name} | {f'{low:g} to {high:g} nT' if name in makers else ''} | {len(cut)} "
                f"| {np.mean(cut):.1%} | {np.mean(iron):.1%} |"
            )
    return lines


def walk_line(along, value):
    """Return the events of one straight line."""
    zero = np.zeros(along.size)
    return classify_rover(
        along / 1.1,
        23_000 + value,
        zero,
        easting_m=along,
        northing_m=zero,
        sensor_height_m=SENSOR_M,
    )


def ambient(rng):
    """Return an ambient field of any inclination and declination."""
    return ambient_vector(
        strength_nT=45_000,
        inclination_deg=rng.uniform(-90, 90),
        declination_deg=rng.uniform(-180, 180),
    )


def sphere(rng, along):
    """Return the field of a sphere whose top is at the ground or up to 1 m below."""
    field = ambient(rng)
    radius = rng.uniform(0.2, 1.0)
    below = SENSOR_M + radius + rng.uniform(0, 1.0)
    to = np.stack([0 * along + rng.uniform(-1.5, 1.5), along, 0 * along - below], axis=-1)
    distance = np.linalg.norm(to, axis=-1)
    cosine = to @ (field * [1, 1, -1])[[1, 0, 2]] / distance / np.linalg.norm(field)
    return (3 * cosine**2 - 1) / distance**3


def dyke(rng, along):
    """Return the field of a dyke whose top is at the ground or up to 3 m below."""
    shape = rng.uniform(0.1, 3), SENSOR_M + rng.uniform(0, 3), 1.0
    return OF_TEST["dyke"](along, 0.0, *shape, rng.uniform(0.5, 2.6), rng.uniform(0, 6.3))


def prism(rng, along):
    """Return the field of a block whose top is at the ground or up to 2 m below."""
    field = ambient(rng)
    corners = dipping_block(
        centre=[rng.uniform(-1, 1), 0.0, -SENSOR_M - rng.uniform(0, 2)],
        length_m=rng.uniform(0.5, 8),
        width_m=rng.uniform(0.5, 4),
        strike_deg=rng.uniform(0, 360),
        dip_deg=rng.uniform(50, 130),
        depth_extent_m=rng.uniform(0.5, 10),
    )
    made = block_field(
        0 * along,
        along,
        0 * along,
        corners=corners,
        magnetisation=induced_magnetisation(field, susceptibility=0.001),
    )
    return np.array(exact_anomaly(made, ambient_nT=field))


def irons() -> list[str]:
    lines = [
        "Iron of any direction, within 0.5 m of the path and so many sensor heights below the "
        "sensor, 20 to 300 nT: what it is called. At 0.6 readings stand as far apart as the iron "
        "is from the sensor.",
        "",
        "| distance | number | found | surface iron | compact source | isolated spike (dropped) |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    for share in (0.3, 0.45, 0.6, 0.8, 1.0, 1.3, 2.0):
        rng = np.random.default_rng(int(100 * share))
        called: Counter[str] = Counter()
        for _ in range(200):
            along = np.cumsum(1.1 * (1 + 0.03 * rng.normal(size=90)))
            off = along - rng.uniform(45, 53)
            place = np.stack([0 * off + rng.uniform(-0.5, 0.5), off, 0 * off - share * 1.8], -1)
            distance = np.linalg.norm(place, axis=-1)
            moment, field = rng.normal(size=(2, 3))
            product = 3 * (place @ moment) * (place @ field) / distance**2 - moment @ field
            value = product / distance**3
            value *= np.exp(rng.uniform(*np.log([20, 300]))) / np.abs(value).max()
            events = walk_line(along, value + rng.normal(scale=NOISE_NT, size=90))
            near = np.abs(off[events.row]) < 3
            named = set(events.cause[near])
            called["found"] += bool(named)
            for cause in ("surface iron", "compact source", "isolated spike"):
                called[cause] += cause in named
        names = ("found", "surface iron", "compact source", "isolated spike")
        cells = [f"{called[name] / 200:.0%}" for name in names]
        lines.append(f"| {share:g} sensor heights | 200 | " + " | ".join(cells) + " |")
    return lines


def fences() -> list[str]:
    lines = [
        "A fence of steel posts across all lines, 20 m apart, and walks without: 40 walks each.",
        "",
        "| lines | posts each | walks with one course | with more | lines shown |",
        "|---:|---|---:|---:|---:|",
    ]
    for count, every in ((3, 3.0), (4, 3.0), (5, 3.0), (6, 3.0), (10, 3.0), (10, 7.0), (20, 7.0)):
        number, shown = [], []
        for seed in range(3000, 3040):
            found = OF_TEST["add_fence"](OF_TEST["walk"](seed, lines=count), seed, every=every)
            features = found.given().features
            number.append(len(features))
            shown.append(features.lines.max(initial=0) / count)
        lines.append(fence_row(f"{count}", f"{every:g} m", number, shown))
    number = [len(OF_TEST["walk"](s, lines=10, bodies=40).given().features) for s in range(40)]
    lines.append(fence_row("10", "none", number, [0]))
    return lines


def fence_row(lines: str, posts: str, number: list[int], shown: list[float]) -> str:
    one, more = np.mean(np.array(number) == 1), np.mean(np.array(number) > 1)
    return f"| {lines} | {posts} | {one:.0%} | {more:.0%} | {np.mean(shown):.0%} |"


def beats() -> list[str]:
    lines = [
        "A beat of 200 readings in 5,000 of white noise, 60 records each; without one, a find in "
        f"{np.mean([beat(0.0, seed) for seed in range(300)]):.1%} of 300 records (stated: 1 %).",
        "",
        "| amplitude over noise sd | found with its frequency |",
        "|---:|---:|",
    ]
    for size in (0.8, 1.0, 1.2, 1.5, 2.0):
        found = np.mean([beat(size, seed) for seed in range(60)])
        lines.append(f"| {size:g} | {found:.0%} |")
    return lines


def beat(size: float, seed: int) -> bool:
    rng = np.random.default_rng([seed, 7])
    times, start, hertz = np.arange(5000.0), rng.integers(500, 4000), rng.uniform(0.1, 0.46)
    value = rng.normal(size=5000)
    value[start : start + 200] += size * np.sin(2 * np.pi * hertz * times[start : start + 200])
    found = find_beats(times, value)
    if size == 0:
        return bool(found.first.size)
    right = np.abs(found.frequency_Hz - hertz) < 0.01
    return bool((right & (found.first < start + 200) & (found.last > start)).any())


def demo_columns() -> tuple[pl.DataFrame, dict]:
    """Return the demo without its repeated readings, and what `classify_rover` is given."""
    table = demo_table().filter(pl.col("fault_true").ne_missing("duplicate"))
    name = pl.concat_str(["day", "line"], separator="/").rank("dense").cast(pl.Int64)
    given = table.select(
        time_s=pl.col("time_utc").dt.epoch("us") / 1e6,
        field_nT="raw_nT",
        line=pl.when(pl.col("line").is_null()).then(-1).otherwise(name),
        easting_m="easting_m",
        northing_m="northing_m",
        sensor_height_m="height_above_ground_m",
        quality="quality",
        instrument=pl.col("instrument").rank("dense").cast(pl.Int64),
    )
    return table, {column.name: column.to_numpy() for column in given}


def demo_lines() -> list[str]:
    table, given = demo_columns()
    events = classify_rover(**given)
    fault = table["fault_true"].fill_null("").to_numpy()
    steel = np.abs(table["steel_nT_true"].fill_null(0.0).to_numpy())
    lines = [
        "The demo against its truth:",
        "",
        "| planted | readings | dropped |",
        "|---|---:|---:|",
    ]
    lines += [
        f"| {name} | {(fault == name).sum()} | {events.dropped[fault == name].sum()} |"
        for name in ("spike", "dropout")
    ]
    sound = (fault == "") | (fault == "position gap")
    for name, rows in (("nothing, steel under 1 nT", steel < 1), ("steel over 1 nT", steel >= 1)):
        kept = sound & rows
        lines.append(f"| {name} | {kept.sum():,} | {events.dropped[kept].sum()} |")
    counts = Counter(events.cause.tolist())
    told = ", ".join(f"{count} {cause}" for cause, count in sorted(counts.items()))
    features = [
        f"on {shown} of {crossed} lines (by chance {chance:.0e})"
        for shown, crossed, chance in zip(
            events.features.lines, events.features.crossed, events.features.expected, strict=True
        )
    ]
    compact = np.flatnonzero(events.cause == "compact source")
    best = compact[np.abs(events.peak_nT[compact]).argmax()] if compact.size else None
    drum = "" if best is None else (
        f" The strongest compact source has {events.peak_nT[best]:.0f} nT where steel has "
        f"{steel[events.row[best]]:.0f} nT."
    )  # fmt: skip
    lines += ["", f"Events: {told}. Linear features: {'; '.join(features) or 'none'}.{drum}"]
    return lines


def rio() -> list[str]:
    """Return false finds on real flight lines, 150 m above ground and a reading each 500 m."""
    try:
        table = read_rio(fetch.folder_of(fetch.VERDE) / "rio-magnetic.csv.xz")
    except fetch.UnreachableError as error:
        return [f"Flight lines near Rio: not reachable ({error})."]
    latitude = np.radians(table["latitude"].to_numpy())
    north = EARTH_RADIUS_M * latitude
    east = EARTH_RADIUS_M * np.cos(latitude.mean()) * np.radians(table["longitude"].to_numpy())
    number = table["line_number"].to_numpy()
    value = 23_000 + table["total_field_anomaly_nt"].to_numpy()
    passage = np.cumsum(np.diff(number, prepend=number[:1]) != 0)
    events = classify_rover(
        np.arange(value.size) + 1000.0 * passage,
        value,
        passage,
        easting_m=east,
        northing_m=north,
        sensor_height_m=np.maximum(table["height_orthometric_m"].to_numpy(), 1.0)
        if "height_orthometric_m" in table.columns
        else 150.0,
    )
    counts = Counter(events.cause.tolist())
    told = ", ".join(f"{count} {cause}" for cause, count in sorted(counts.items())) or "none"
    step = np.median(np.hypot(np.diff(east), np.diff(north)))
    return [
        f"Real flight lines near Rio (1978; {value.size:,} readings, one each {step:.0f} m, taken "
        "as 150 m above ground): false finds only, as they hold no rover's faults. No open record "
        f"of a walked rover was found. Events: {told}; dropped {events.dropped.mean():.3%}."
    ]


def timing() -> list[str]:
    _, given = demo_columns()
    classify_rover(**given)
    begin = time.process_time()
    classify_rover(**given)
    spent = time.process_time() - begin
    return [f"All of it takes {spent:.2f} s for the {given['time_s'].size:,} readings of the demo."]


if __name__ == "__main__":
    print(section())
