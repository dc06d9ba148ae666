"""Words of the field sheets: tests with their tolerances, set-up, whom to call, cautions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from lodewalk.figures.sheet_pages import Block
from lodewalk.figures.style import number
from lodewalk.handover.words import CAUTIONS
from lodewalk.methods.geomagnetic.sensor_orientation import proton_axis, pumped_tilt
from lodewalk.steps.set_up import CHECKLISTS

#: Readings around the base and the largest difference between them (common practice) [m, nT].
AROUND_BASE: Final = (5, 1.0, 2.0)
#: The base records before the rover starts and after it ends (common practice) [min].
BASE_LEAD_MIN: Final = 15
#: Rovers that walk at the same time keep this far apart (common practice) [m].
APART_M: Final = 50.0
_RESULT: Final = "Measured [nT]: ____________"
#: Lines to write on where nobody to call is set.
_BLANK_CALLS: Final = 4
#: Ways that the sheet lists at most.
MOST_LISTED: Final = 12


@dataclass(frozen=True)
class FieldNotes:
    """What the sheets say beside the plan itself.

    Parameters
    ----------
    tolerances : dict
        The settings of section ``tolerances`` by name [nT], with ``chord_s`` [s] of ``checks``.
    call : tuple of str
        Whom to call; empty leaves lines to write on.
    inclination_deg, tuning_uT, total_field_nT : float or None
        The reference field on the first day; None where it isn't known.
    sensor_height_m : float or None
        Height of the sensor that was planned for.
    lines_from_magnetic_north_deg : float or None
        Direction of the lines from magnetic north [deg].
    repeat : bool
        Whether a line is repeated each day.
    rovers : int
        Rovers that walk at the same time.
    base_doubts : tuple of str
        Rules that the base's place breaks or that couldn't be checked.
    crossings : mapping
        By day and rover, the ways that meet a power line.
    power_crossings : tuple of str
        Those of the day and rover of a sheet.
    """

    tolerances: dict[str, float] = field(default_factory=dict)
    call: tuple[str, ...] = ()
    inclination_deg: float | None = None
    tuning_uT: float | None = None
    total_field_nT: float | None = None
    sensor_height_m: float | None = None
    lines_from_magnetic_north_deg: float | None = None
    repeat: bool = True
    rovers: int = 1
    base_doubts: tuple[str, ...] = ()
    crossings: Mapping[tuple[int, int], tuple[str, ...]] = field(default_factory=dict)
    power_crossings: tuple[str, ...] = ()


def sheet_blocks(notes: FieldNotes) -> tuple[Block, ...]:
    """Return all blocks of a field sheet, in order."""
    return (
        before_block(notes),
        Block("Set up the base", (*_base_rows(notes), *_items("base")), tick=True),
        Block("Set up each rover", _items("rover"), tick=True),
        tests_block(notes),
        call_block(notes),
        cautions_block(notes),
        Block("Notes of the day", (), blanks=10, fill=True),
    )


def _items(role: str) -> tuple[tuple[str, str], ...]:
    """Return the set-up checklist of a role, as it can be ticked in the program too."""
    return tuple(("", item.text) for item in CHECKLISTS[role])


def before_block(notes: FieldNotes) -> Block:
    """Return what holds for base and rovers together."""
    count, reach, most = AROUND_BASE
    rows = [
        ("Clocks", "All clocks set to UTC and compared: base, rovers, GPS, watch."),
        (
            "Base first and last",
            f"The base records from {BASE_LEAD_MIN} minutes before the rover's first reading to "
            f"{BASE_LEAD_MIN} minutes after its last.",
        ),
        (
            "Place of the base",
            f"{count} readings within {reach:g} m of its sensor lie within {most:g} nT. {_RESULT}"
            + "".join(f" Beware: {text}." for text in notes.base_doubts),
        ),
        *_sensor_rows(notes),
        ("Height of the sensor", _height_words(notes)),
    ]
    return Block("Before the first reading", tuple(rows), tick=True)


def _sensor_rows(notes: FieldNotes) -> list[tuple[str, str]]:
    """Say where the field points, how sensors lie in it and how they are tuned."""
    rows = []
    words = ["The manual of the instrument counts."]
    if notes.tuning_uT is not None:
        words.append(f"Tuning: {number(notes.tuning_uT, 0)} µT.")
    if notes.total_field_nT is not None:
        words.append(f"Expect about {number(notes.total_field_nT, 0)} nT.")
    dip = notes.inclination_deg
    if dip is not None:
        side = "below" if dip >= 0 else "above"
        words.insert(
            0,
            f"The field (not the sensor) points to magnetic north, {number(abs(dip), 0)}° {side} "
            "the horizontal.",
        )
        axis = proton_axis(dip)
        rows = [
            (
                "Proton sensor: axis of its coil",
                f"Axis {axis.best_words}; whichever way you face, {axis.any_facing_words}.",
            ),
            ("Optically pumped sensor: tilt from upright", _tilt_words(notes, dip)),
        ]
    return [("Orientation and tuning", " ".join(words)), *rows]


def _tilt_words(notes: FieldNotes, inclination_deg: float) -> str:
    """Say how a pumped sensor is tilted on lines and on ties, else on lines of two directions."""
    ways = (("Lines along magnetic north", 0.0), ("across it", 90.0))
    if notes.lines_from_magnetic_north_deg is not None:
        along = notes.lines_from_magnetic_north_deg
        ways = (("Lines", along), ("tie lines", along + 90.0))
    return (
        "; ".join(
            f"{way} {pumped_tilt(inclination_deg, line_from_magnetic_north_deg=turn).words}"
            for way, turn in ways
        )
        + " (the tilt stays fixed to the walker)."
    )


def _height_words(notes: FieldNotes) -> str:
    """Say how high the sensor is to be."""
    planned = notes.sensor_height_m
    wanted = f" Planned: {planned:g} m above ground." if planned is not None else ""
    return f"Measured on each rover, the same all day.{wanted} Measured [m]: ____________"


def tests_block(notes: FieldNotes) -> Block:
    """Return the tests to do, each with what it may reach."""
    told = notes.tolerances

    def most(key: str) -> str:
        return f"{told[key]:g} nT" if key in told else "____ nT"

    rows = (
        (
            f"Turn-around: spread up to {most('heading_nT')}",
            "Over the turn-around spot, eight headings, ten seconds or more each. Mark: "
            f"turn-around N, NE and so on. {_RESULT}",
        ),
        (
            f"With and without each item: change up to {most('item_nT')}",
            "Radio, phone, handheld, companion: a minute each with it and without it, in turns. "
            f"{_RESULT}",
        ),
        (
            f"Static run: noise up to {most('static_nT')}",
            f"Sensor on a stand, away from people, some minutes. {_RESULT}",
        ),
        (
            "Side by side with the base",
            "Rover beside the base, ten minutes at a reading a second: it proves the clocks.",
        ),
        (
            f"Check station: spread up to {most('check_station_nT')}, corrected",
            f"Same spot, height and facing; start, middle and end of the day. {_RESULT}",
        ),
        *_repeat_rows(notes, most("repeat_nT")),
        (
            f"Base record: up to {most('chord_nT')} off a chord of {told.get('chord_s', 60):g} s",
            "Looked at in the evening with lodewalk check; where it is exceeded, lines wait.",
        ),
    )
    return Block("Tests to do, and what each may reach", rows, tick=True, together=True)


def _repeat_rows(notes: FieldNotes, most: str) -> tuple[tuple[str, str], ...]:
    """Return the test on the repeat line, none where no line is repeated."""
    if not notes.repeat:
        return ()
    apart = (
        f" Rovers walk it one after the other, {APART_M:g} m or more apart, as on all lines "
        "(common practice)."
        if notes.rovers > 1
        else ""
    )
    words = f"Walked first and last of each day, in the same direction.{apart} {_RESULT}"
    return ((f"Repeat line: mean difference and noise up to {most}", words),)


def call_block(notes: FieldNotes) -> Block:
    """Return whom to call, or lines to write on."""
    title = "Whom to call"
    if notes.call:
        return Block(title, tuple(("", entry) for entry in notes.call), blanks=1, together=True)
    words = "Office, land owner, doctor, rescue: write names and numbers before you go."
    return Block(title, (), note=words, blanks=_BLANK_CALLS, together=True)


def cautions_block(notes: FieldNotes) -> Block:
    """Return the cautions, those of the day and those that come first on top."""
    facts = sorted(CAUTIONS, key=lambda fact: not fact.label.startswith("Local rules"))
    rows = (*_crossing_rows(notes), *((fact.label, fact.value) for fact in facts))
    return Block("Cautions", rows, together=True)


def _crossing_rows(notes: FieldNotes) -> tuple[tuple[str, str], ...]:
    """Say where the day's walk meets a power line, and how to pass."""
    ways = notes.power_crossings
    if not ways:
        return ()
    more = f" and {len(ways) - MOST_LISTED} more" if len(ways) > MOST_LISTED else ""
    words = (
        "Carry the mast low or take it down under live conductors; keep the distance that the "
        f"operator prescribes. Local rules come first. On the way {', '.join(ways[:MOST_LISTED])}"
        f"{more}."
    )
    return (("Today's walk meets a power line", words),)


def _base_rows(notes: FieldNotes) -> tuple[tuple[str, str], ...]:
    """Say which rules the base's place breaks or leaves open, and the test that decides."""
    if not notes.base_doubts:
        return ()
    chord = notes.tolerances.get("chord_nT")
    most = "____ nT" if chord is None else f"{chord:g} nT"
    doubts = "; ".join(notes.base_doubts)
    test = (
        f"{doubts[0].upper()}{doubts[1:]}. Look around; while a vehicle passes or whatever is near "
        f"moves, the record stays within {most} of a chord; else move the base. {_RESULT}"
    )
    return (("Doubts about the place BASE", test),)
