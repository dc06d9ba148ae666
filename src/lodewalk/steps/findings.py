"""Gathering findings into their table."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from lodewalk.records.products import Findings
from lodewalk.records.table import utc_column
from lodewalk.steps.proposed import Proposal

SEVERITIES = ("information", "doubt", "loss")


@dataclass
class FindingList:
    """Findings of one check, in the order in which they are made.

    Parameters
    ----------
    check : str
        Name of the step that makes them.
    """

    check: str
    rows: list[dict[str, Any]] = field(default_factory=list)

    def add(
        self,
        kind: str,
        text: str,
        *,
        severity: str = "information",
        instrument: str | None = None,
        start_s: float | None = None,
        end_s: float | None = None,
        file: str | None = None,
        line_in_file: int | None = None,
        proposes: Proposal | None = None,
    ) -> None:
        """Add one finding; times are Unix seconds in UTC."""
        assert severity in SEVERITIES
        self.rows.append(
            {
                "kind": kind,
                "text": text,
                "severity": severity,
                "instrument": instrument,
                "start_s": np.nan if start_s is None else float(start_s),
                "end_s": np.nan if end_s is None else float(end_s),
                "file": file,
                "line_in_file": None if line_in_file is None else int(line_in_file),
                "check": self.check,
                "proposal": proposes.text() if proposes else None,
            }
        )

    def table(self) -> Findings:
        """Return the findings as their table."""
        if not self.rows:
            return Findings.empty()
        columns: dict[str, Any] = {
            column.name: pl.Series([row.get(column.name) for row in self.rows], dtype=column.dtype)
            for column in Findings.SCHEMA
            if not column.name.endswith("_utc")
            and not (column.optional and all(row[column.name] is None for row in self.rows))
        }
        for end in ("start", "end"):
            columns[f"{end}_utc"] = utc_column(np.array([row[f"{end}_s"] for row in self.rows]))
        return Findings(pl.DataFrame(columns))


def tell_idle(found: FindingList, decision: Mapping[str, Any], meets: str) -> None:
    """Tell a decision that meets nothing, or less than it names; `meets` says what it meets."""
    target = decision["target"]
    if target.get("readings"):
        about = amount(len(target["readings"]), "reading id")
    else:
        span = [end for end in (target.get("start"), target.get("end")) if end]
        about = " ".join([f"instrument {target['instrument']}", *span])
    found.add(
        "decision without effect",
        f"A decision of kind {decision['kind']} meets {meets}: {about}.",
        severity="doubt",
    )


def amount(count: int, singular: str, plural: str | None = None) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> amount(1, "spike"), amount(3, "spike")
    ('1 spike', '3 spikes')
    """
    return f"{count} {singular if count == 1 else plural or singular + 's'}"


def duration_text(seconds: float) -> str:
    """Return a duration for print.

    Examples
    --------
    >>> duration_text(42.0), duration_text(1260.0), duration_text(7800.0)
    ('42 s', '21 min', '2 h 10 min')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min"
