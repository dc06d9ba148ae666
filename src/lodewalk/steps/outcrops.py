"""Dips seen at outcrops: what each says of the body near it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lodewalk.methods.inversion.outcrop_dip import magnetisation_of_dip, with_dip
from lodewalk.methods.inversion.results import Estimate
from lodewalk.records import Record
from lodewalk.steps.bodies import stand_of
from lodewalk.steps.known_facts import CONTRADICTS, Fact, facts_of, near_picks
from lodewalk.steps.rows import table

#: An outcrop whose strike lies farther than this from a body's shows another one (common practice)
#: [deg].
MOST_TURN_DEG = 30.0
#: Error of a dip that was told without one: that of a compass on a rough face (common practice)
#: [deg].
USUAL_SD_DEG = 5.0


@dataclass(frozen=True)
class Outcrop:
    """A dip at an outcrop, counted as that of a body: from its profile's direction [deg]."""

    name: str
    dip_deg: float
    sd_deg: float

    @property
    def words(self) -> str:
        """What was seen, in words."""
        return f"the dip of {self.dip_deg:.0f} ± {self.sd_deg:.0f} degrees at {self.name}"


@dataclass(frozen=True)
class Section:
    """Field and magnetisation in the section of a body [deg]; no magnetisation is induced."""

    inclination_deg: float
    profile_azimuth_deg: float
    body_inclination_deg: float | None = None
    body_azimuth_deg: float | None = None


def outcrops_near(inputs: Mapping[str, Record], crs: str) -> dict[str, tuple[Outcrop, ...]]:
    """Return the dips that count at each pick, and once each at the lineament of such picks."""
    facts = facts_of(table(inputs, "known_recorded").frame, crs=crs, kinds=("dip",))
    rows = list(table(inputs, "picks").frame.iter_rows(named=True)) if facts else []
    rows = [row for row in rows if row["sensor_height_m"] is not None]
    stands = [stand_of(row) for row in rows]
    near = near_picks(facts, list(zip(rows, stands, strict=True)))
    found: dict[str, dict[int, Outcrop]] = {}
    for row, stand, own in zip(rows, stands, near, strict=True):
        for one in own:
            seen = _seen(one.fact, stand.azimuth_deg)
            for name in (row["pick"], row["lineament"]):
                if seen is not None and name is not None:
                    found.setdefault(name, {}).setdefault(one.fact.row, seen)
    return {name: tuple(own.values()) for name, own in found.items()}


def _seen(fact: Fact, azimuth_deg: float) -> Outcrop | None:
    """Return an outcrop's dip from a profile's direction; None where it strikes another way."""
    if fact.towards_deg is None:
        return None
    turn = abs((fact.towards_deg - azimuth_deg + 180.0) % 360.0 - 180.0)
    if min(turn, 180.0 - turn) > MOST_TURN_DEG:
        return None
    dip = fact.value if turn < 90.0 else 180.0 - fact.value
    return Outcrop(fact.name, dip, fact.sd or USUAL_SD_DEG)


def held(
    index: Estimate, outcrops: Sequence[Outcrop], section: Section
) -> tuple[Estimate, list[str]]:
    """Return an index angle with the dips of outcrops taken in, and what became of each."""
    words = []
    for one in outcrops:
        told, off = with_dip(index, one.dip_deg, sd_deg=one.sd_deg, **vars(section))
        if off < CONTRADICTS:
            index = told
            words.append(f"It holds {one.words}.")
        else:
            words.append(
                f"It leaves out {one.words}, which contradicts it by {off:.1f} sd under this "
                "magnetisation: remanence, or another body."
            )
    return index, words


def of_magnetisation(index: Estimate, outcrops: Iterable[Outcrop], section: Section) -> list[str]:
    """Return what each outcrop says of the magnetisation, where none is stated."""
    words = []
    for one in outcrops:
        _, turn = magnetisation_of_dip(
            index,
            one.dip_deg,
            sd_deg=one.sd_deg,
            inclination_deg=section.inclination_deg,
            profile_azimuth_deg=section.profile_azimuth_deg,
        )
        alone = turn.low <= 0.0 <= turn.high
        words.append(
            f"With {one.words} the magnetisation lies {turn.value:.0f} ({turn.low:.0f} to "
            f"{turn.high:.0f}) degrees off the field in the section: "
            + ("induction alone explains it." if alone else "there is remanence.")
        )
    return words


def section_of(under: Any, azimuth_deg: float) -> Section:
    """Return field and stated magnetisation in the section of a body."""
    body = under.body_declination_deg
    return Section(
        under.inclination_deg,
        azimuth_deg - under.declination_deg,
        under.body_inclination_deg,
        None if body is None else azimuth_deg - body,
    )
