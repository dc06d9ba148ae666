"""Making the demo: walk it, spoil it, write the raw files and the truth."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lodewalk.errors import InputError
from lodewalk.services.demo import raw_files, truth
from lodewalk.services.demo.before_going import beliefs, write_before_going
from lodewalk.services.demo.faults import (
    Fault,
    Sheet,
    outage_fault,
    rover_faults,
    spoil_base,
    spoil_rover,
    spoil_track,
)
from lodewalk.services.demo.field import World
from lodewalk.services.demo.instruments import (
    BaseRecord,
    TrackRecord,
    on_track,
    record_base,
    record_walk,
)
from lodewalk.services.demo.scenario import Scenario
from lodewalk.services.demo.truth import WrittenSheet
from lodewalk.services.demo.variation import variation

INCOMING, TRUTH = "incoming", "truth"
COLUMN_MAP = "semicolon_columns.toml"


@dataclass(frozen=True)
class DemoFile:
    """One raw file, and what has to be said when it is added to the survey."""

    path: Path
    role: str
    instrument: str | None = None
    column_map: Path | None = None
    time_zone: str | None = None


@dataclass(frozen=True)
class DemoFiles:
    """The raw files of the demo in order of adding, its settings, and where the truth lies.

    `before_going` are the files that were there before anyone walked, `beliefs` the settings
    that the crew had then.
    """

    files: tuple[DemoFile, ...]
    settings: dict[str, dict[str, Any]]
    truth: Path
    before_going: tuple[DemoFile, ...]
    beliefs: dict[str, dict[str, Any]]


@dataclass(frozen=True)
class _Written:
    """What one instrument left of one day."""

    files: tuple[DemoFile, ...]
    faults: tuple[Fault, ...]
    base: BaseRecord | None = None
    sheet: WrittenSheet | None = None


def write_demo(directory: Path, *, seed: int, scenario: Scenario | None = None) -> DemoFiles:
    """Write the raw files of the demo under `incoming/` and its truth under `truth/`.

    Parameters
    ----------
    directory : Path
        An existing folder; the two sub-folders are made in it.
    seed : int
        Not below zero; the same seed gives the same bytes.
    scenario : Scenario, optional
        Another scenario than the usual one.

    Returns
    -------
    DemoFiles
        The raw files with their roles, and the settings of the survey.

    Raises
    ------
    InputError
        For a seed below zero.
    """
    if seed < 0:
        raise InputError("The seed of the demo can't be below zero.", value=seed)
    world = World(scenario or Scenario(), seed)
    incoming, known = directory / INCOMING, directory / TRUTH
    incoming.mkdir(parents=True, exist_ok=True)
    known.mkdir(parents=True, exist_ok=True)
    raw_files.write_column_map(incoming / COLUMN_MAP, scenario=world.scenario)
    plan, notes = incoming / "planned_lines.gpx", incoming / "field_notes.csv"
    raw_files.write_plan(plan, world=world)
    written = list(_write_days(world, incoming))
    sheets = [item.sheet.sheet for item in written if item.sheet]
    raw_files.write_notes(notes, world=world, sheets=sheets)
    recorded = (file for item in written for file in item.files)
    files = (DemoFile(plan, "plan"), *recorded, DemoFile(notes, "notes"))
    _write_truth(world, known, written=written, files=files)
    before = write_before_going(incoming, world=world)
    return DemoFiles(
        files,
        world.scenario.settings(),
        known,
        tuple(DemoFile(path, role) for role, path in before.items()),
        beliefs(world.scenario),
    )


def _write_days(world: World, incoming: Path) -> Iterator[_Written]:
    """Write the base and the rovers, day by day."""
    for day in world.scenario.days:
        change = variation(day, seed=world.seed)
        yield _write_base(world, incoming, record_base(world, day, change_nT=change))
        for plan in day.walks:
            record, track = record_walk(world, day, plan, change_nT=change)
            sheet = spoil_rover(world, record)
            path = incoming / f"{plan.rover}_{day.date}.csv"
            if track is None:
                yield _write_positioned(world, path, sheet)
            else:
                yield _write_tracked(world, path, sheet, track)


def _write_base(world: World, incoming: Path, record: BaseRecord) -> _Written:
    """Write the base's file; the record without its gap is kept for the truth."""
    rule, day = world.scenario, record.day
    path = incoming / f"base_{day.date}.txt"
    spoilt, gaps = spoil_base(world, record)
    raw_files.write_base_file(path, spoilt, scenario=rule)
    faults = [outage_fault(gap, midnight_s=day.midnight_s, file=path.name) for gap in gaps]
    file = DemoFile(path, "base", rule.base, time_zone=rule.local_zone)
    return _Written((file,), tuple(faults), base=record)


def _write_positioned(world: World, path: Path, sheet: Sheet) -> _Written:
    """Write the file of a rover that has its own positions."""
    head = raw_files.write_comma_file(path, sheet)
    return _Written(
        (DemoFile(path, "rover", sheet.record.rover.name),),
        tuple(rover_faults(world, sheet, file=path.name, head=head)),
        sheet=WrittenSheet(sheet, path.name, head, sheet.received),
    )


def _write_tracked(world: World, path: Path, sheet: Sheet, track: TrackRecord) -> _Written:
    """Write the files of a rover whose positions come from a handheld's track."""
    name, day = sheet.record.rover.name, sheet.record.day
    head = raw_files.write_semicolon_file(path, sheet, scenario=world.scenario)
    track_path = path.with_name(f"{name}_track_{day.date}.gpx")
    track, gaps = spoil_track(world, track)
    raw_files.write_track(track_path, track, world=world)
    lost = [outage_fault(gap, midnight_s=day.midnight_s, file=track_path.name) for gap in gaps]
    return _Written(
        (
            DemoFile(path, "rover", name, column_map=path.with_name(COLUMN_MAP)),
            DemoFile(track_path, "track", name),
        ),
        (*rover_faults(world, sheet, file=path.name, head=head), *lost),
        sheet=WrittenSheet(sheet, path.name, head, on_track(world, track, sheet.time_s)),
    )


def _write_truth(
    world: World, known: Path, *, written: Sequence[_Written], files: Sequence[DemoFile]
) -> None:
    """Write the truth of all days."""
    sheets = [item.sheet for item in written if item.sheet]
    truth.write_readings(known / "readings.csv", world=world, written=sheets)
    faults = [fault for item in written for fault in item.faults]
    truth.write_faults(known / "faults.csv", faults=faults)
    truth.write_base(known / "base.csv", records=[item.base for item in written if item.base])
    truth.write_clocks(known / "clocks.csv", world=world)
    truth.write_bodies(known / "bodies.json", world=world)
    truth.write_crossings(known / "dyke_crossings.csv", world=world)
    truth.write_summary(
        known / "summary.json",
        world=world,
        readings=sum(len(item.sheet.source) for item in sheets),
        files=[file.path.name for file in files],
    )
