"""Bases and walks over a flat field south of the equator, with planted levels."""

import numpy as np

from small_survey import SOUTH, WEST, main_field, stamp

DAY = 86_400.0


def variation(seconds):
    return 8 * np.sin(np.asarray(seconds) / 2400.0)


def base_rows(seconds, level, rng):
    value = level + variation(seconds) + rng.normal(0, 0.05, np.size(seconds))
    return [f"{stamp(t)},{v:.3f}" for t, v in zip(seconds, value, strict=True)]


def base(bench, name, *parts, seed=1):
    """Add a base whose level changes from part to part: pairs of seconds and level."""
    rng = np.random.default_rng(seed)
    rows = [row for seconds, level in parts for row in base_rows(seconds, level, rng)]
    bench.add(f"{name}.csv", ["time_utc,total_field_nT", *rows], "base", name)


def grid_walk(start_s, *, along, crossed, level=0.0, seed=3):
    """Lines northward, or tie lines eastward, over one flat field; times in seconds from START."""
    rng = np.random.default_rng(seed)
    way = np.arange(0.0, 121.0, 2.0)
    rows, second = [], start_s
    for number in range(along):
        across = 20.0 * number + 10.0
        east, north = (way, 0 * way + across) if crossed else (0 * way + across, way)
        time = second + 2.0 * np.arange(way.size)
        second = time[-1] + 60.0
        main, longitude, latitude = main_field(WEST + east, SOUTH + north)
        value = main + variation(time) + level + rng.normal(0, 0.05, way.size)
        name = f"{'T' if crossed else 'L'}{number + 1}"
        rows += [
            f"{stamp(t)},{lat:.8f},{lon:.8f},800.0,{name},{v:.3f}"
            for t, lat, lon, v in zip(time, latitude, longitude, value, strict=True)
        ]
    return rows


HEAD = "time_utc,latitude,longitude,height_m,line,total_field_nT"
HOUR = np.arange(-600.0, 3600.0, 10.0)
