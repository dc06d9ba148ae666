"""Clock evidence: how far each clock is off, from independent kinds of evidence, never applied."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np

from lodewalk.methods.checks.clocks.combine import ClockEstimate, ClockLink, combine_clocks
from lodewalk.methods.checks.clocks.drift import mean_drift
from lodewalk.methods.checks.clocks.evidence import NOT_IDENTIFIABLE, ClockEvidence
from lodewalk.methods.corrections.time_scales import gps_minus_utc
from lodewalk.records import Document, Record
from lodewalk.steps.as_recorded import as_recorded
from lodewalk.steps.clock_findings import tell_clock, tell_drift
from lodewalk.steps.clock_links import Clocks, DayDrift, all_links, clocks_of, pooled_revisits
from lodewalk.steps.clock_spans import DaySpan, day_spans
from lodewalk.steps.context import Context
from lodewalk.steps.findings import FindingList
from lodewalk.steps.rows import document, instruments

OWN, TRACK = "its own fixes", "the track"
#: What is known of a clock, by instrument and day.
Spans = Mapping[str, Mapping[str, DaySpan]]


def run(
    inputs: Mapping[str, Record], settings: Mapping[str, Any], context: Context
) -> dict[str, Record]:
    """Return what is known of each clock against UTC, the evidence for it, and proposals."""
    bare = as_recorded(inputs, settings, context)
    clocks = clocks_of(bare, settings)
    links, drifts = all_links(clocks, context)
    estimates = _combined(clocks, inputs, links)
    anew = {estimate.instrument for estimate in estimates if estimate.anew}
    pooled = pooled_revisits(clocks, links, anew)
    if pooled != links:
        links, estimates = pooled, _combined(clocks, inputs, pooled)
    found = FindingList("clock_evidence")
    spans = day_spans(inputs, clocks)
    rows = []
    for estimate in estimates:
        own = spans.get(estimate.instrument, {})
        drift = [item for item in drifts if item.instrument == estimate.instrument]
        runs_away = any(item.drift.matters for item in drift)
        tell_clock(found, estimate, own, runs_away=runs_away)
        tell_drift(found, drift, own)
        rows.append(_row(clocks, estimate, own, drift))
    values = {"clock": rows, "links": [_link(link) for link in links]}
    return {"clock_evidence": Document(values), "clock_findings": found.table()}


def _combined(
    clocks: Clocks, inputs: Mapping[str, Record], links: list[ClockLink]
) -> tuple[ClockEstimate, ...]:
    """Return what the links say of each clock together."""
    return combine_clocks(
        links,
        zone_offset_s=_zone_offset(clocks),
        gps_minus_utc_s=_leap(clocks),
        gps_stamped={name: not clocks.tracks(name) for name in clocks.rows},
        bases={base.name for base in clocks.bases},
        instruments=_instruments(inputs),
    )


def _instruments(inputs: Mapping[str, Record]) -> list[str]:
    """Return the names of all base and rover instruments."""
    roles = [instruments(document(inputs, f"{role}_files")) for role in ("base", "rover")]
    return sorted({name for names in roles for name in names})


def _zone_offset(clocks: Clocks) -> float:
    """Return how far the survey's own time is ahead of UTC [s]."""
    known = clocks.seconds[np.isfinite(clocks.seconds)]
    moment = datetime.fromtimestamp(float(known[0]) if known.size else 0.0, clocks.days.zone)
    offset = moment.utcoffset()
    return offset.total_seconds() if offset else 0.0


def _leap(clocks: Clocks) -> float:
    """Return GPS time less UTC at the time of the survey [s]."""
    known = clocks.seconds[np.isfinite(clocks.seconds)]
    return float(gps_minus_utc(known[:1])[0]) if known.size else 18.0


def _row(
    clocks: Clocks,
    estimate: ClockEstimate,
    spans: Mapping[str, DaySpan],
    drifts: list[DayDrift],
) -> dict[str, Any]:
    """Return what is known of one clock; offset and sd are null where nothing is."""
    decided = {span.decided_s for span in spans.values()}
    worst = [day.day for day in estimate.days if day.offset_s == estimate.offset_s]
    method = "; ".join(estimate.methods) or "no evidence"
    if estimate.anew and worst:
        method += f"; only on {', '.join(worst)}, set otherwise on other days"
        decided = {spans[day].decided_s for day in worst if day in spans}
    drift = mean_drift([item.drift for item in drifts])
    return {
        "instrument": estimate.instrument,
        **_numbers(estimate.offset_s, estimate.sd_s, estimate.state),
        "method": method,
        "text": estimate.text,
        "position_clock": _position_clock(clocks, estimate.instrument),
        "decided_s": decided.pop() if len(decided) == 1 else None,
        "days": [_day(estimate, day, span) for day, span in spans.items()],
        "drift_s_per_h": None if drift is None else round(drift[0], 4),
        "drift_sd_s_per_h": None if drift is None else round(drift[1], 4),
    }


def _day(estimate: ClockEstimate, day: str, span: DaySpan) -> dict[str, Any]:
    """Return what is known of a clock on one day."""
    told = {item.day: item for item in estimate.days}.get(day)
    if told is not None:
        numbers = _numbers(told.offset_s, told.sd_s, told.state)
    elif estimate.days:
        numbers = _numbers(np.nan, np.inf, NOT_IDENTIFIABLE)
    else:  # evidence of all days together
        numbers = _numbers(estimate.offset_s, estimate.sd_s, estimate.state)
    return {"day": day, **numbers, "decided_s": span.decided_s}


def _numbers(offset_s: float, sd_s: float, state: str) -> dict[str, Any]:
    """Return offset, sd and state for print."""
    known = state != NOT_IDENTIFIABLE
    return {
        "offset_s": round(offset_s, 3) if known else None,
        "sd_s": round(sd_s, 3) if known else None,
        "state": state,
    }


def _position_clock(clocks: Clocks, instrument: str) -> str | None:
    """Say which clock stamps the positions of an instrument; null for a base."""
    if instrument not in clocks.rows:
        return None
    tracks = clocks.tracks(instrument)
    if not tracks:
        return OWN
    return TRACK if any(track["track_time_s"].size for track in tracks) else None


def _link(link: ClockLink) -> dict[str, Any]:
    """Return one piece of evidence for print."""
    evidence: ClockEvidence = link.evidence
    known = np.isfinite(evidence.offset_s) and np.isfinite(evidence.sd_s)
    return {
        "first": link.first,
        "second": link.second,
        "day": link.day or None,
        "method": link.method,
        "offset_s": round(evidence.offset_s, 3) if known else None,
        "sd_s": round(evidence.sd_s, 3) if known else None,
        "state": evidence.state,
        "count": evidence.count,
    }
