"""What boreholes and outcrops tell of the bodies at picks near them, as constraints on fits."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from lodewalk.adapters.projection import to_projected
from lodewalk.methods.inversion.constraints import Constraint, fact_constraint, off_by
from lodewalk.methods.inversion.results import Estimate, ProfileFit
from lodewalk.steps.bodies import Stand

#: A fact counts across the strike up to this share of a pick's half window: about one depth.
ACROSS = 0.25
#: Depth or width may change by this share of the way along the strike (common practice).
CHANGE = 0.05
#: A fact farther than this from what the readings tell alone contradicts them [sd].
CONTRADICTS = 3.0
#: Units and words of the facts that enter fits.
WORDS = {
    "depth": "the top at {value:g} m below ground",
    "not_reached": "no top down to {value:g} m below ground",
    "width": "a width of {value:g} m",
}


@dataclass(frozen=True)
class Fact:
    """One fact with its place; `row` is its number in the table of facts."""

    row: int
    name: str
    what: str
    value: float
    sd: float | None
    easting_m: float
    northing_m: float
    towards_deg: float | None = None

    @property
    def words(self) -> str:
        """What it tells, in words."""
        return f"{self.name}: {WORDS[self.what].format(value=self.value)}"


@dataclass(frozen=True)
class Near:
    """A fact that counts at a pick, and how far off along the strike it lies [m]."""

    fact: Fact
    along_m: float
    sensor_height_m: float

    @property
    def constraint(self) -> Constraint:
        """What it says of the body there, less sure by the way along the strike."""
        own = fact_constraint(
            self.fact.what, self.fact.value, sd=self.fact.sd, sensor_height_m=self.sensor_height_m
        )
        sd = float(np.hypot(own.sd, CHANGE * self.along_m))
        return Constraint(own.name, own.low, own.high, sd)


def facts_of(known: pl.DataFrame, *, crs: str, kinds: Collection[str] = tuple(WORDS)) -> list[Fact]:
    """Return the facts of some kinds, by default those that a fit can hold, placed in the CRS."""
    found = []
    for row, told in enumerate(known.iter_rows(named=True)):
        if told["what"] not in kinds:
            continue
        east, north = told.get("easting_m"), told.get("northing_m")
        if east is None or north is None:
            east, north = (
                float(part)
                for part in to_projected(told["longitude_deg"], told["latitude_deg"], crs=crs)
            )
        name = told["name"] or f"fact {row + 1}"
        about = told["value"], told["sd"], east, north, told["towards_deg"]
        found.append(Fact(row, name, told["what"], *about))
    return found


def near_picks(
    facts: Sequence[Fact], picks: Sequence[tuple[Mapping[str, Any], Stand]]
) -> list[tuple[Near, ...]]:
    """Return for each pick the facts that count there.

    Parameters
    ----------
    facts : sequence of Fact
        All there are.
    picks : sequence of pairs
        Row and stand of each pick.

    Returns
    -------
    list of tuple of Near
        A fact counts within one spacing of the lineament's picks along the strike, and within
        `ACROSS` half windows across it.
    """
    reach = _spacings(picks)
    found = []
    for row, stand in picks:
        most = reach.get(row["lineament"] or "", ACROSS * row["half_window_m"])
        own = [
            Near(fact, abs(stand.along(fact.easting_m, fact.northing_m)), stand.sensor_height_m)
            for fact in facts
        ]
        found.append(
            tuple(
                near
                for near in own
                if near.along_m <= most
                and abs(_across(near.fact, stand)) <= ACROSS * row["half_window_m"]
            )
        )
    return found


def _spacings(picks: Iterable[tuple[Mapping[str, Any], Stand]]) -> dict[str, float]:
    """Return the median spacing of each lineament's picks along its strike [m]."""
    stands: dict[str, list[Stand]] = {}
    for row, stand in picks:
        if row["lineament"]:
            stands.setdefault(row["lineament"], []).append(stand)
    return {name: _spacing(own) for name, own in stands.items() if len(own) > 1}


def _spacing(stands: Sequence[Stand]) -> float:
    """Return the median spacing of stands along the strike of the middle one [m].

    One strike and one near origin for all: places in the CRS times each one's own strike would not
    compare.
    """
    middle = stands[len(stands) // 2]
    along = [middle.along(stand.easting_m, stand.northing_m) for stand in stands]
    return float(np.median(np.diff(np.sort(along))))


def _across(fact: Fact, stand: Stand) -> float:
    """Return how far a fact lies from a pick across the strike [m]."""
    return float(stand.across(np.array([fact.easting_m]), np.array([fact.northing_m]))[0])


def contradicted(near: Near, found: ProfileFit) -> float:
    """Return how many sd a fact lies from what the readings tell alone; 0 where they tell none."""
    told: Estimate | None = found.depth
    if near.constraint.name == "half_width_m":
        told = found.fits[0].estimates.get("half_width_m") if found.fits else None
    return 0.0 if told is None else off_by(near.constraint, told)


def facts_note(
    facts: Sequence[Fact],
    picks: Sequence[str],
    used: Sequence[tuple[Near, ...]],
    refused: Sequence[tuple[tuple[Near, float], ...]],
) -> list[dict[str, Any]]:
    """Return what became of each fact: where it holds, and where the readings contradict it."""
    notes = []
    for fact in facts:
        held = [pick for pick, own in zip(picks, used, strict=True)
                if any(near.fact is fact for near in own)]  # fmt: skip
        against = {
            pick: round(off, 1)
            for pick, own in zip(picks, refused, strict=True)
            for near, off in own
            if near.fact is fact
        }
        notes.append(
            {
                "name": fact.name,
                "what": fact.what,
                "value": fact.value,
                "row": fact.row,
                "used_at": held,
                "contradicted_at": against,
                "text": _sentence(fact, held, against),
            }
        )
    return notes


def _sentence(fact: Fact, held: list[str], against: Mapping[str, float]) -> str:
    """Return what became of a fact in words."""
    parts = []
    if held:
        parts.append(f"holds in the fit at {', '.join(held)}")
    if against:
        told = ", ".join(f"{pick} by {off:g} sd" for pick, off in against.items())
        parts.append(
            f"contradicts the readings at {told}, so it isn't used there: check its place and "
            "datum, and whether it is this body"
        )
    if not parts:
        parts.append("lies near no pick with a profile, so it isn't used")
    return f"{fact.words}; {'; '.join(parts)}."
