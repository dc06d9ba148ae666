"""What the report says of the rocks, as plain records."""

from dataclasses import dataclass, field
from typing import Any

import polars as pl

from lodewalk.records.document import Document
from lodewalk.records.grid import GridSet
from lodewalk.records.interpreted import (
    Bodies,
    CompactBodies,
    CompactCurves,
    Curves,
    Depths,
    Dips,
    Faults,
    LineamentPoints,
    Lineaments,
    Picks,
    ProfileReadings,
    with_dips,
)


@dataclass(frozen=True)
class RockRecords:
    """The interpretation: what was traced, picked, fitted; a document not made yet is None."""

    crs: str
    lineaments: Lineaments
    points: LineamentPoints
    faults: Faults
    picks: Picks
    profiles: ProfileReadings
    curves: Curves
    depths: Depths
    bodies: Bodies
    transforms: GridSet | None = None
    transform_notes: Document | None = None
    trace_notes: Document | None = None
    fit_notes: Document | None = None
    pick_notes: Document | None = None
    compact: CompactBodies = field(default_factory=CompactBodies.empty)
    compact_curves: CompactCurves = field(default_factory=CompactCurves.empty)
    dips: Dips = field(default_factory=Dips.empty)

    @property
    def told_bodies(self) -> pl.DataFrame:
        """The bodies with their dips."""
        return with_dips(self.bodies, self.dips)

    @property
    def refused(self) -> frozenset[str]:
        """Lineaments that a person refused as a whole."""
        notes = self.pick_notes.values if self.pick_notes else {}
        return frozenset(notes.get("refused_lineaments") or ())

    @property
    def believed_faults(self) -> Faults:
        """The offsets without those of a refused lineament."""
        refused = sorted(self.refused)
        return Faults(
            self.faults.frame.filter(
                ~pl.col("first").is_in(refused), ~pl.col("second").is_in(refused)
            )
        )

    @property
    def rose(self) -> dict[str, Any] | None:
        """The rose of the lineaments that are left, None where there is none."""
        for notes in (self.pick_notes, self.trace_notes):
            found = notes.values.get("rose") if notes else None
            if found:
                return dict(found)
        return None


@dataclass(frozen=True)
class DepthRow:
    """One lineament in the table of depths, as it is printed."""

    name: str
    kind: str
    strike: str
    length: str
    depth: str
    picks: str
    range: str
    methods: str


@dataclass(frozen=True)
class PickRow:
    """One method at one pick, as it is printed."""

    pick: str
    method: str
    depth: str
    index: str
    valid: bool
    reason: str


@dataclass(frozen=True)
class BodyRow:
    """One body, as it is printed."""

    name: str
    kind: str
    depth: str
    width: str
    index_angle: str
    dip: str
    magnetisation: str


@dataclass(frozen=True)
class CompactRow:
    """One compact body, as it is printed."""

    name: str
    place: str
    depth: str
    moment: str
    direction: str
    remark: str


@dataclass(frozen=True)
class Rocks:
    """The section on rocks: sentences and tables; `missing` says why a part isn't there."""

    missing: tuple[str, ...] = ()
    transforms: tuple[str, ...] = ()
    traced: tuple[str, ...] = ()
    depths: tuple[DepthRow, ...] = ()
    picks: tuple[PickRow, ...] = ()
    bodies: tuple[BodyRow, ...] = ()
    not_resolved: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    compact: tuple[CompactRow, ...] = ()
    without_compact: tuple[str, ...] = ()

    @property
    def told(self) -> bool:
        """Whether any depth or body is told."""
        return bool(self.depths or self.bodies or self.compact)
