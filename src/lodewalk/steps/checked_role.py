"""The readings of one role while they are checked, and what persons decided of them."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lodewalk.records import Document, Record, Table
from lodewalk.records.products import Checks
from lodewalk.records.table import float_column
from lodewalk.steps.findings import FindingList, amount, tell_idle
from lodewalk.steps.rows import document, file_of_row, file_rows, reading_ids, table
from lodewalk.steps.time import decision_rows

Rows = NDArray[np.int64]


class Role:
    """The readings of one role while they are checked."""

    def __init__(self, inputs: Mapping[str, Record], role: str) -> None:
        self.role = role
        self.files: Document = document(inputs, f"{role}_files")
        self.spans = file_rows(self.files)
        self.recorded: Table = table(inputs, f"{role}_recorded")
        self.seconds = table(inputs, f"{role}_times").seconds("time_utc")
        self.value = self.recorded.floats("raw_nT")
        self.ok = np.ones(len(self.recorded), dtype=bool)
        self.reason = np.full(len(self.recorded), None, dtype=object)
        self.fourth = np.full(len(self.recorded), np.nan)
        self.departure = np.full(len(self.recorded), np.nan)
        self.found = FindingList("first_checks")

    def place(self, row: int) -> dict[str, Any]:
        """Return the raw file and the line of a row, as a finding wants them."""
        file = file_of_row(self.spans, row).name
        return {"file": file, "line_in_file": self.recorded.frame["line_in_file"][row]}

    def drop(self, rows: Rows, reason: str) -> int:
        """Mark rows that are still kept; return how many."""
        rows = rows[self.ok[rows]]
        self.reason[rows] = reason
        self.ok[rows] = False
        return len(rows)

    def bring_back(self, rows: Rows) -> None:
        """Keep rows again, where they have field and time."""
        usable = rows[np.isfinite(self.value[rows]) & np.isfinite(self.seconds[rows])]
        self.reason[usable], self.ok[usable] = None, True

    def kept(self, rows: Rows) -> Rows:
        """Return those of the rows that are still kept."""
        return rows[self.ok[rows]]

    def tell_drops(self, instrument: str, rows: Rows, reason: str, *, severity: str) -> None:
        """Drop rows and say so in one finding."""
        count = self.drop(rows, reason)
        if count:
            times = self.seconds[rows]
            self.found.add(
                reason,
                f"{instrument}: {amount(count, 'reading')} dropped, {reason}.",
                severity=severity,
                instrument=instrument,
                start_s=np.nanmin(times),
                end_s=np.nanmax(times),
                **self.place(int(rows[0])),
            )

    def table(self) -> Checks:
        """Return what was found of each reading."""
        columns = {
            "kept": pl.Series(self.ok),
            "reason": pl.Series(self.reason.tolist(), dtype=pl.String),
            "fourth_difference_nT": float_column(self.fourth),
        }
        if self.role == "base":
            columns["departure_nT"] = float_column(self.departure)
        return Checks(pl.DataFrame(columns))


class Decided:
    """Decisions to drop or keep readings of rover and base, the later one of two counts.

    Drops come before anything is measured, so that what was dropped can't spoil a noise figure;
    keeps come last.
    """

    def __init__(self, rover: Role, base: Role, decisions: tuple[Mapping[str, Any], ...]) -> None:
        self._roles = (rover, base)
        self._last = [np.full(len(role.recorded), "", dtype=object) for role in self._roles]
        for decision in decisions:
            rows = [_target_rows(role, decision["target"]) for role in self._roles]
            for last, chosen in zip(self._last, rows, strict=True):
                if decision["kind"] in ("drop", "keep"):  # others are only met here
                    last[chosen] = decision["kind"]
            met = sum(chosen.size for chosen in rows)
            named = len(set(decision["target"].get("readings") or ()))
            if not met:
                tell_idle(rover.found, decision, "no reading")
            elif met < named:
                tell_idle(rover.found, decision, f"only {amount(met, 'reading')}")

    def drop(self) -> None:
        """Drop what was decided so."""
        for role, last in zip(self._roles, self._last, strict=True):
            role.drop(np.flatnonzero(last == "drop"), "dropped by decision")

    def keep(self) -> None:
        """Keep what was decided so, whatever the checks said."""
        for role, last in zip(self._roles, self._last, strict=True):
            role.bring_back(np.flatnonzero(last == "keep"))


def _target_rows(role: Role, target: Mapping[str, Any]) -> Rows:
    """Return the rows that a decision means."""
    if target.get("readings"):
        ids = reading_ids(role.files, role.recorded)
        return np.flatnonzero(ids.is_in(list(target["readings"])).to_numpy())
    times = role.recorded.frame["recorded_time"]
    marks = [decision_rows(target, times[span.rows], span) for span in role.spans]
    return np.flatnonzero(np.concatenate(marks)) if marks else np.zeros(0, dtype=np.int64)
