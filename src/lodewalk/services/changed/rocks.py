"""What a run changed in the rocks: lineaments by their place, depths by their pick."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import polars as pl

from lodewalk.services.changed.evening import named
from lodewalk.services.rocks.rows import number

#: Two lineaments are one and the same whose strikes are this near [degrees], and whose middles lie
#: this near across the strike [m and share of the length], and within half their length along it.
STRIKE_DEG, ACROSS_M, ACROSS_SHARE = 15.0, 15.0, 0.05
#: Shares of the length, of a strike's standard deviation and of a depth's interval that count.
LENGTH, STRIKE, DEPTH = 0.1, 1.0, 0.25

Same = Mapping[str, str]
Row = Mapping[str, Any]


def same_lineaments(before: pl.DataFrame, after: pl.DataFrame) -> dict[str, str]:
    """Return the name that each lineament has afterwards, nearest pairs first.

    Names go by the order of evidence and length, so they tell nothing of what is the same.
    """
    near = sorted(
        (away, old["lineament"], new["lineament"])
        for old in before.iter_rows(named=True)
        for new in after.iter_rows(named=True)
        if (away := _apart(old, new)) is not None
    )
    same: dict[str, str] = {}
    for _, old, new in near:
        if old not in same and new not in same.values():
            same[old] = new
    return same


def _apart(old: Row, new: Row) -> float | None:
    """Return how far two lineaments are apart [m]; None where they are two."""
    if old["kind"] != new["kind"]:
        return None
    step = np.array([new["easting_m"] - old["easting_m"], new["northing_m"] - old["northing_m"]])
    away, length = float(np.hypot(*step)), max(old["length_m"], new["length_m"])
    if old["strike_deg"] is None or new["strike_deg"] is None:
        return away if away <= ACROSS_M else None
    if abs(_turn(old["strike_deg"], new["strike_deg"])) > STRIKE_DEG:
        return None
    north, east = np.cos(np.radians(old["strike_deg"])), np.sin(np.radians(old["strike_deg"]))
    along, across = abs(step @ (east, north)), abs(step @ (north, -east))
    near = across <= max(ACROSS_M, ACROSS_SHARE * length)
    return away if near and along <= 0.5 * length + ACROSS_M else None


def _turn(old: float, new: float) -> float:
    """Return the difference of two strikes, -90 to 90 degrees."""
    return (new - old + 90.0) % 180.0 - 90.0


def lineament_changes(before: pl.DataFrame, after: pl.DataFrame, same: Same) -> list[str]:
    """Return which lineaments are gone, new, or have another name, length or strike."""
    old = {row["lineament"]: row for row in before.iter_rows(named=True)}
    new = {row["lineament"]: row for row in after.iter_rows(named=True)}
    told = [f"{_words(old[name])} is found no longer." for name in old if name not in same]
    told += [f"{_words(new[name])} is new." for name in new if name not in same.values()]
    for name, now in same.items():
        told += [f"{_called(name, now)}: {text}." for text in _differ(old[name], new[now])]
    renamed = [f"{name} is {now}" for name, now in same.items() if name != now]
    return told + ([f"Names moved: {', '.join(renamed)} now."] if renamed else [])


def _words(row: Row) -> str:
    """Return a lineament in words."""
    strike = "" if row["strike_deg"] is None else f", strike {row['strike_deg']:.0f}°"
    return f"{row['lineament']} ({row['kind']}{strike}, {row['length_m']:.0f} m)"


def _called(name: str, now: str) -> str:
    """Return the name, with the former one where it is another."""
    return now if name == now else f"{now} (was {name})"


def _differ(old: Row, new: Row) -> Iterator[str]:
    """Yield what is different in one lineament."""
    if abs(new["length_m"] - old["length_m"]) > LENGTH * max(old["length_m"], 1.0):
        yield f"length {old['length_m']:.0f} m became {new['length_m']:.0f} m"
    first, last, sd = old["strike_deg"], new["strike_deg"], old["strike_sd_deg"]
    if first is not None and last is not None and abs(_turn(first, last)) > STRIKE * (sd or 1.0):
        yield f"strike {first:.1f}° became {last:.1f}°"


def depth_changes(before: pl.DataFrame, after: pl.DataFrame, same: Same) -> list[str]:
    """Return at which picks the calibrated depth moved, or came or went, by lineament.

    Those of a lineament that is new or gone aren't told: that it is so says enough.
    """
    here = {*same.values()}
    named_now = {_pick_now(pick, same): row for pick, row in _answers(before).items()}
    old = {pick: row for pick, row in named_now.items() if pick is not None}
    new = {pick: row for pick, row in _answers(after).items() if _lineament(pick) in {*here, None}}
    told = _moved(old, new)
    for word, some in (("no longer told", old.keys() - new), ("now told", new.keys() - old)):
        if some:
            told.append(f"Depths {word}: {named(sorted(some))}.")
    return told


def _moved(old: Mapping[str, Row], new: Mapping[str, Row]) -> list[str]:
    """Return which depths moved out of a share of their interval, those of a lineament together."""
    moved: dict[str, list[tuple[float, str]]] = defaultdict(list)
    for pick in sorted(old.keys() & new):
        was, now = old[pick], new[pick]
        share = abs(now["depth_m"] - was["depth_m"]) / _width(was)
        if share > DEPTH:
            text = f"at {pick} {_depth(was)} became {_depth(now)}"
            moved[_lineament(pick) or pick].append((share, text))
    told = []
    for lineament, found in moved.items():
        most = max(found)[1]
        many = "one depth moved," if len(found) == 1 else f"{len(found)} depths moved, most"
        told.append(f"{lineament}: {many} {most}.")
    return told


def _lineament(pick: str) -> str | None:
    """Return the lineament that a pick lies on; None for a pick that somebody made."""
    lineament, dash, _ = pick.partition("-")
    return lineament if dash else None


def _pick_now(pick: str, same: Same) -> str | None:
    """Return what a pick is called now; None where its lineament is gone."""
    lineament, dash, line = pick.partition("-")
    if not dash:
        return pick
    return f"{same[lineament]}-{line}" if lineament in same else None


def _answers(depths: pl.DataFrame) -> dict[str, Row]:
    """Return the calibrated depth by pick, where there is one."""
    answer = (pl.col("method") == "answer") & pl.col("valid") & pl.col("depth_m").is_finite()
    told = depths.filter(answer)
    return {row["pick"]: row for row in told.iter_rows(named=True)}


def _width(row: Row) -> float:
    """Return the width of a depth's interval [m]."""
    low, high = row["depth_low_m"], row["depth_high_m"]
    return max(high - low, 0.1) if low is not None and high is not None else 1.0


def _depth(row: Row) -> str:
    """Return a depth with its interval."""
    low, high = (number(row[name], 0) for name in ("depth_low_m", "depth_high_m"))
    return f"{number(row['depth_m'], 0)} m ({low} to {high} m)"
