"""One evening's survey with planted trouble, made without lodewalk's own formulas.

Eight planned lines of 200 m, 20 m apart, are walked to and fro at 1 m/s, 10 s between them and
fifty minutes before L7, two readings a second; the base reads every five seconds.

* L2 is not read from 80 m to 110 m along the walk.
* The base is silent from t = 680 s to 1000 s: L4 from its 50th metre, L5 to its 160th.
* The field swings from t = 4200 s on (`FAST_S`): L7 and L8.
* A fence crosses all lines at 150 m north; a drum lies on L6 at 50 m north.

The swings and the silence begin and end at readings of the base. Invented place and numbers.
"""

import importlib
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import Transformer

from lodewalk.services.add import add_files
from lodewalk.services.check import CheckResult, check
from lodewalk.services.new import new_survey
from lodewalk.steps.context import Context
from lodewalk.steps.declarations import step_named
from lodewalk.survey.folder import Folder, open_folder
from lodewalk.survey.settings import picked
from lodewalk.survey.store import read_product
from small_survey import CRS, SOUTH, WEST, stamp

LINES, LENGTH_M, SPACING_M, TURN_S = 8, 200.0, 20.0, 10.0
PERIOD_S = LENGTH_M + TURN_S
BREAK_S = 3000.0
END_S = LINES * PERIOD_S + BREAK_S
HOLE_M = (80.0, 110.0)
SILENT_S = (680.0, 1000.0)
FAST_S, SWING_NT, SWING_S = 4200.0, 20.0, 23.0
FENCE_M, DRUM_M = 150.0, 50.0
BASE_STEP_S = 5.0


def field(seconds):
    """Return the change of the field with time [nT]: slow, then with fast swings as well."""
    time = np.asarray(seconds, dtype=float)
    swings = SWING_NT * np.sin(2 * np.pi * (time - FAST_S) / SWING_S)
    return 12.0 * np.sin(time / 900.0) + np.where(time > FAST_S, swings, 0.0)


def base_times():
    """Return the times at which the base reads [s]."""
    time = np.arange(-900.0, END_S + 900.0, BASE_STEP_S)
    return time[(time <= SILENT_S[0]) | (time >= SILENT_S[1])]


def line_span(number):
    """Return first and last time of a line, counted from 1 [s]."""
    begin = (number - 1) * PERIOD_S + (BREAK_S if number > 6 else 0.0)
    return begin, begin + LENGTH_M


def _iron(away_m, peak_nT, below_m):
    """Return the anomaly over a vertical dipole [nT]; closed form, at the pole."""
    square = (away_m / below_m) ** 2
    return peak_nT * (2 - square) / (2 * (1 + square) ** 2.5)


def rover():
    """Return time, line, easting, northing and anomaly of each reading."""
    parts = []
    for number in range(1, LINES + 1):
        along = np.arange(0.0, LENGTH_M + 0.25, 0.5)
        if number == 2:
            along = along[(along <= HOLE_M[0]) | (along >= HOLE_M[1])]
        north = along if number % 2 else LENGTH_M - along
        east = np.full(along.size, SPACING_M * (number - 1))
        anomaly = _iron(north - FENCE_M, 90.0, 1.4)
        if number == 6:
            anomaly = anomaly + _iron(north - DRUM_M, 400.0, 3.0)
        time = line_span(number)[0] + along
        parts.append((time, np.full(along.size, number), WEST + east, SOUTH + north, anomaly))
    return tuple(np.concatenate(part) for part in zip(*parts, strict=True))


def write(folder: Path) -> None:
    """Write base, rover, plan and notes."""
    rng = np.random.default_rng(3)
    time = base_times()
    value = 22_950 + field(time) + rng.normal(0.0, 0.03, time.size)
    _rows(folder / "base.csv", "time_utc,total_field_nT", zip(map(stamp, time), value, strict=True))
    time, number, east, north, anomaly = rover()
    value = 22_960 + field(time) + anomaly + rng.normal(0.0, 0.05, time.size)
    rows = (
        (stamp(t), f"{e:.2f}", f"{n:.2f}", f"L{line}", v)
        for t, e, n, line, v in zip(time, east, north, number, value, strict=True)
    )
    _rows(folder / "rover.csv", "time_utc,easting,northing,line,total_field_nT", rows)
    _write_plan(folder / "plan.gpx")
    to_geographic = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform
    longitude, latitude = to_geographic(WEST + 20.0, SOUTH + FENCE_M)
    note = (stamp(290.0), f"{latitude:.7f}", f"{longitude:.7f}", "crossed a fence", "")
    _rows(folder / "notes.csv", "time,latitude,longitude,name,text", [note])


def _rows(path, head, rows):
    """Write rows of a delimited file; numbers with three decimals."""
    lines = [
        ",".join(f"{item:.3f}" if isinstance(item, float) else str(item) for item in row)
        for row in rows
    ]
    path.write_text("\n".join([head, *lines]) + "\n")


def _write_plan(path):
    """Write the planned lines as routes."""
    to_geographic = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform
    routes = []
    for number in range(LINES):
        points = []
        for north in (0.0, LENGTH_M):
            longitude, latitude = to_geographic(WEST + SPACING_M * number, SOUTH + north)
            points.append(f'<rtept lat="{latitude:.9f}" lon="{longitude:.9f}"/>')
        routes.append(f"<rte><name>L{number + 1}</name>{''.join(points)}</rte>")
    head = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
    path.write_text(f"{head}{''.join(routes)}</gpx>")


def make_evening(folder: Path) -> Folder:
    """Make the survey folder; nothing is run yet."""
    write(folder)
    new_survey(folder / "survey", name="Evening", crs=CRS)
    survey = open_folder(folder / "survey")
    for name, role, instrument in (
        ("base.csv", "base", "B1"), ("rover.csv", "rover", "R1"), ("plan.gpx", "plan", None),
        ("notes.csv", "notes", None),
    ):  # fmt: skip
        add_files(survey, [folder / name], role=role, instrument=instrument)
    return survey


@dataclass(frozen=True)
class Evening:
    """The survey once it was checked; its steps can be run again on changed inputs."""

    folder: Folder

    @cached_property
    def result(self) -> CheckResult:
        """What the check said."""
        return check(self.folder)

    @property
    def tolerances(self) -> dict[str, Any]:
        """The tolerances, all at their defaults."""
        return picked(self.folder.settings, ("tolerances",))["tolerances"]

    @cached_property
    def products(self) -> dict[str, Any]:
        """Every product that the check reads."""
        assert self.result
        names = {name for step in ("check", *STEPS) for name in step_named(step).inputs}
        return {name: read_product(self.folder, name) for name in sorted(names)}

    def again(self, step, *, decisions=(), settings=None, **inputs):
        """Run one step apart, with decisions, settings or inputs of one's own."""
        declared = step_named(step)
        given = {name: self.products[name] for name in declared.inputs} | inputs
        chosen = picked(self.folder.settings, declared.settings)
        for section, values in (settings or {}).items():
            chosen[section] = chosen[section] | values
        module = importlib.import_module(declared.module)
        return module.run(given, chosen, Context(step=step, decisions=tuple(decisions)))


#: Steps that tests run apart.
STEPS = ("ties", "diurnal", "minutes", "walked", "culture", "trials", "crossings", "first_checks")


def changed(table, **columns):
    """Return a table with some columns changed; a column is an expression or its values."""
    return replace(table, frame=table.frame.with_columns(**columns))
