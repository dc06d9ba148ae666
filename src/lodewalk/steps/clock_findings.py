"""What is told of the clocks: agreement, offsets to confirm day by day, drifts."""

from collections.abc import Mapping

from lodewalk.methods.checks.clocks.combine import ClockEstimate, DayClock
from lodewalk.methods.checks.clocks.evidence import NOT_IDENTIFIABLE
from lodewalk.steps.clock_links import DayDrift
from lodewalk.steps.clock_spans import DaySpan
from lodewalk.steps.findings import FindingList, amount
from lodewalk.steps.proposed import Proposal

#: A slip smaller than this is within the agreement of clocks (common practice) [s].
AGREE_S = 1.0
#: Half-width of a 90 % interval in sd.
NINETY = 1.645
Spans = Mapping[str, DaySpan]


def tell_clock(
    found: FindingList, estimate: ClockEstimate, spans: Spans, *, runs_away: bool = False
) -> None:
    """Tell a clock that is off, with what it may be and how to confirm it; each day, if set anew.

    Parameters
    ----------
    found : FindingList
        Where it is told.
    estimate : ClockEstimate
        What is known of the clock.
    spans : mapping of str to DaySpan
        The instrument's days.
    runs_away : bool
        Whether the clock drifts by so much that its offset is that at the middle of its readings.
    """
    if estimate.anew:
        _tell_days(found, estimate, spans)
        return
    if estimate.state == NOT_IDENTIFIABLE:
        return
    name, offset, sd = estimate.instrument, estimate.offset_s, estimate.sd_s
    least = max(AGREE_S, 3 * sd)
    if abs(offset) <= least:
        found.add(
            "clock", f"{name}: clock agrees within {NINETY * sd:.1f} s (90 %).", instrument=name
        )
        return
    decided = [span.decided_s or 0.0 for span in spans.values()] or [0.0]
    settled = all(abs(offset - value) <= least for value in decided)
    proposal = None if settled else Proposal("clock", name, offset_s=round(offset, 1))
    middle = " This is at the middle of the readings; it drifts." if runs_away else ""
    found.add(
        "clock",
        f"{estimate.text}{middle} {_advice(proposal, decided[0])}.",
        severity="information" if settled else "doubt",
        proposes=proposal,
        instrument=name,
        start_s=min((span.start_s for span in spans.values()), default=None),
        end_s=max((span.end_s for span in spans.values()), default=None),
    )


def _tell_days(found: FindingList, estimate: ClockEstimate, spans: Spans) -> None:
    """Tell the days of a clock that was set anew between them."""
    name = estimate.instrument
    right, told = [], [day.day for day in estimate.days if day.state != NOT_IDENTIFIABLE]
    for day in estimate.days:
        if day.state == NOT_IDENTIFIABLE:
            continue
        if abs(day.offset_s) <= max(AGREE_S, 3 * day.sd_s):
            right.append(day)
        else:
            _tell_day(found, name, day, spans.get(day.day))
    unknown = [day for day in spans if day not in told]
    parts = [f"agrees within {NINETY * day.sd_s:.1f} s on {day.day}" for day in right]
    parts += [f"can't be judged on {', '.join(unknown)}"] if unknown else []
    if parts:
        found.add(
            "clock",
            f"{name}: set differently on different days; {'; '.join(parts)}.",
            instrument=name,
        )


def _tell_day(found: FindingList, name: str, day: DayClock, span: DaySpan | None) -> None:
    """Tell a clock that was off on one day while it was set otherwise on another."""
    decided = (span.decided_s if span else None) or 0.0
    settled = abs(day.offset_s - decided) <= max(AGREE_S, 3 * day.sd_s)
    start, end = (span.start, span.end) if span else (None, None)
    proposal = None if settled else Proposal("clock", name, start, end, round(day.offset_s, 1))
    found.add(
        "clock",
        f"{day.text} This holds on {day.day}; on another day the clock was set otherwise. "
        f"{_advice(proposal, decided)}.",
        severity="information" if settled else "doubt",
        proposes=proposal,
        instrument=name,
        start_s=span.start_s if span else None,
        end_s=span.end_s if span else None,
    )


def _advice(proposal: Proposal | None, decided_s: float) -> str:
    """Say how an offset is confirmed, or by which decision it is."""
    if proposal is None:
        return f"Confirmed by a decision of {decided_s:+g} s"
    return f"To confirm: {proposal.command}"


def tell_drift(found: FindingList, drifts: list[DayDrift], spans: Spans) -> None:
    """Tell how fast a clock ran away on each day, by the comparison that knows it best.

    Parameters
    ----------
    found : FindingList
        Where it is told.
    drifts : list of DayDrift
        Drifts of one instrument.
    spans : mapping of str to DaySpan
        The instrument's days.
    """
    for day in dict.fromkeys(item.day for item in drifts):
        own = [item for item in drifts if item.day == day]
        best = min(own, key=lambda item: item.drift.sd_s_per_h)
        span = spans.get(day)
        text, settled = _drift_text(best, span)
        found.add(
            "clock drift",
            text,
            severity="doubt" if best.drift.matters and not settled else "information",
            instrument=best.instrument,
            start_s=span.start_s if span else None,
            end_s=span.end_s if span else None,
        )


def _drift_text(best: DayDrift, span: DaySpan | None) -> tuple[str, bool]:
    """Return a drift in words with advice, and whether decisions follow it."""
    drift = best.drift
    text = (
        f"{best.instrument} against {best.against} on {best.day}: clock drift "
        f"{drift.s_per_h:+.2f} s/h (sd {drift.sd_s_per_h:.2f}) by {amount(best.runs, 'run')}, "
        f"{drift.amount_s:+.1f} s (sd {drift.amount_sd_s:.1f} s) over the day"
    )
    if not drift.matters:
        return f"{text}: {'little' if drift.significant else 'not significant'}.", True
    # Decisions by parts of two seconds each leave up to a second at either end.
    left = drift.amount_s - (span.drift_decided_s if span else 0.0)
    if abs(left) <= max(2 * AGREE_S, 3 * drift.amount_sd_s) and span and span.drift_decided_s:
        return f"{text}. The decisions on its clock follow it.", True
    hours = 2 * AGREE_S / abs(drift.s_per_h)
    return (
        f"{text}. One of the two runs away, or was set between. No single offset puts it right: "
        f"decide the clock of each {hours:.1f} h by --start and --end, or compare them again."
    ), False
