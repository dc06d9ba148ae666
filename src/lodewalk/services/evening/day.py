"""A field day for the evening: bands of the base, findings with place and proposal, what to do."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from lodewalk.errors import InputError
from lodewalk.services.check import (
    CheckedDay,
    CheckedTest,
    CheckResult,
    Finding,
    RewalkSpan,
    checked,
)
from lodewalk.services.decide import DecideResult, decisions_in_force
from lodewalk.services.evening.answers import Answer, answer_to, lines_named
from lodewalk.services.joined import product
from lodewalk.steps.proposed import Proposal
from lodewalk.survey.folder import Folder
from lodewalk.survey.store import product_path

#: Worst first; what a finding of each severity means for the day.
SEVERITIES = ("loss", "doubt", "information")
#: Of a rover whose times no base shares: mostly a wrong zone, which no walk puts right.
NEVER_TOGETHER = "base and rover never overlap"
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Band:
    """Minutes of a base that share one verdict."""

    instrument: str
    start_utc: str
    end_utc: str
    verdict: str
    worst_nT: float | None


@dataclass(frozen=True, kw_only=True)
class EveningFinding(Finding):
    """A finding with its line where it has one, and what stands about its proposal.

    `answered` is the id of the decision in force that takes or refuses the proposal; `standing`
    that of the one in force for what it is about, which may say something else. A refusal that
    no longer holds stays here, and the proposal waits again.
    """

    today: bool
    lines: list[str]
    answered: str | None
    standing: str | None


@dataclass(frozen=True)
class ToDo:
    """One thing to do, and the part of the evening where it is done."""

    where: str
    text: str


@dataclass(frozen=True)
class DayResult:
    """A field day: its ends in UTC, verdict in words, what to do, bands, findings and tests."""

    date: str
    zone: str
    start_utc: str
    end_utc: str
    verdict: str
    sentence: str
    reasons: list[str]
    to_do: list[ToDo]
    bands: list[Band]
    findings: list[EveningFinding]
    tests: list[CheckedTest]


def day_result(folder: Folder, date: str) -> DayResult:
    """Return all that the evening shows of a day, as last checked; nothing is run.

    Raises
    ------
    FolderError
        Before the first check.
    InputError
        For a day on which nothing was walked or recorded.
    """
    check = checked(folder)
    day = next((item for item in check.days if item.date == date), None)
    if day is None:
        known = ", ".join(item.date for item in check.days) or "none yet"
        raise InputError("Nothing is known of this day.", value=date, remedy=f"Days are {known}.")
    start, end = _ends(day)
    findings = list(_findings(folder, check, start, end))
    tests = [test for test in check.tests if test.day == date]
    return DayResult(
        day.date, day.zone, _utc(start), _utc(end), day.verdict,
        sentence(day, check.rewalk.spans), day.reasons,
        to_do(check, day, findings), _bands(folder, start, end), findings, tests,
    )  # fmt: skip


def sentence(day: CheckedDay, spans: Iterable[RewalkSpan] = ()) -> str:
    """Return the verdict of a day in one sentence.

    Lines to walk again, whole or in pieces as `spans` say, and lines in doubt are counted with
    their lengths.
    """
    doubt = _of(day, "doubt")
    again = " and ".join(filter(None, (_of(day, "re-walk"), _pieces(day, spans))))
    if not day.lines:
        return "No line was walked on this day."
    if day.verdict == "re-walk":
        return "Don't use the day as it is: walk it again."
    if again:
        return f"Keep the day, but walk {again} again{f'; {doubt} in doubt' if doubt else ''}."
    if doubt:
        return f"Keep the day; look at {doubt} in doubt before you move camp."
    if day.verdict == "doubt":
        return "Every line can be kept, but something about the day is in doubt."
    if len(day.lines) == 1:
        return "Keep the day: its line is good."
    return f"Keep the day: all {len(day.lines)} lines are good."


def _of(day: CheckedDay, verdict: str) -> str:
    """Return how many lines have a verdict, with their length; empty for none."""
    own = [line.length_m for line in day.lines if line.verdict == verdict]
    return f"{_lines(len(own))} ({sum(own) / 1000:.1f} km)" if own else ""


def _pieces(day: CheckedDay, spans: Iterable[RewalkSpan]) -> str:
    """Return of how many lines a piece is to walk again, with its length; empty for none."""
    whole = {line.line for line in day.lines if line.verdict == "re-walk"}
    own = {line.line for line in day.lines} - whole
    pieces = [span for span in spans if span.line in own]
    if not pieces:
        return ""
    length, many = sum(span.length_m for span in pieces), _lines(len({s.line for s in pieces}))
    return f"{'a piece' if len(pieces) == 1 else 'pieces'} of {many} ({length:.0f} m)"


def _lines(number: int) -> str:
    """Return a number of lines in words."""
    return f"{number} line{'' if number == 1 else 's'}"


def to_do(check: CheckResult, day: CheckedDay, findings: Iterable[EveningFinding]) -> list[ToDo]:
    """Return what there is to do in the evening of a day, the most pressing first."""
    own = {line.line for line in day.lines}
    again = [span for span in check.rewalk.spans if span.line in own]
    unplaced = Counter(line.instrument for line in day.lines if not line.length_m)
    lacking = "without a position. Is its track still to be added?"
    todo = [ToDo("files", f"{n}: {_lines(count)} {lacking}") for n, count in unplaced.items()]
    listed = list(findings)
    todo += _times_first(listed)
    if not day.lines:
        todo.append(ToDo("files", NO_LINE))
    if again:
        length = sum(span.length_m for span in again)
        pieces = ", ".join(dict.fromkeys(span.line for span in again))
        todo.append(
            ToDo("again", f"Walk again: {pieces}, {length:.0f} m. The route is a GPX file.")
        )
    open_ones = [item for item in listed if item.proposal and not item.answered]
    todo += [
        ToDo("findings", f"Decide: {PROPOSALS[item.proposal.kind]} {item.proposal.instrument}.")
        for item in open_ones
        if item.proposal and not item.standing
    ]
    worst = [item for item in listed if item.today and item.severity == "loss"]
    if worst:
        kinds = ", ".join(dict.fromkeys(item.kind for item in worst))
        todo.append(ToDo("findings", f"Look at what was lost: {kinds}."))
    for test in check.tests:
        if test.day == day.date and test.passed is False:
            todo.append(ToDo("findings", f"{test.instrument}: {test.text} Mend it before walking."))
    for row in day.base.intervals:
        if row.answer == "not enough":
            longest = f" {row.longest_s:g} s or less would do." if row.longest_s else ""
            text = (
                f"Let {row.instrument} record more often than each {row.interval_s:g} s.{longest}"
            )
            todo.append(ToDo("strip", text))
    return todo + [_compare(item.proposal) for item in open_ones if item.proposal and item.standing]


def _compare(proposal: Proposal) -> ToDo:
    """Return that a proposal differs from what is decided, which presses no one to replace it."""
    about = f"{PROPOSALS[proposal.kind]} {proposal.instrument}"
    return ToDo(
        "clocks" if proposal.kind == "clock" else "findings",
        f"Compare: {about} is decided, and a proposal differs. The decision counts until replaced.",
    )


#: What the evening of a day without a line begins with.
NO_LINE = (
    "No line was walked. Is a track or a plan still to be added, or is a file of the rover a "
    "base's record?"
)


def _times_first(findings: Iterable[EveningFinding]) -> list[ToDo]:
    """Return what is likely wrong with dates, zones or clocks: it comes before walking again."""
    names = [item.instrument for item in findings if item.today and item.kind == NEVER_TOGETHER]
    return [
        ToDo("files", f"{name}: the base never recorded at its times. Before walking again, see "
             "whether date, time zone or clock of one of the two is wrong.")
        for name in dict.fromkeys(names)
    ]  # fmt: skip


#: What each kind of proposal is called.
PROPOSALS = {
    "clock": "the clock of",
    "lag": "the lag of",
    "bridge": "the gap in the record of",
    "move": "the move of",
    "drop": "the values that stand still of",
}


def _ends(day: CheckedDay) -> tuple[datetime, datetime]:
    """Return begin and end of a field day in UTC."""
    zone = ZoneInfo(day.zone) if not day.zone.startswith(("+", "-")) else None
    begin = datetime.fromisoformat(f"{day.date}T00:00:00{day.zone if zone is None else ''}")
    if zone is not None:
        begin = begin.replace(tzinfo=zone)
    return begin.astimezone(UTC), (begin + timedelta(days=1)).astimezone(UTC)


def _bands(folder: Folder, start: datetime, end: datetime) -> list[Band]:
    """Return spans of minutes with one verdict, base after base."""
    if not product_path(folder, "base_minutes").exists():
        return []
    rows = product(folder, "base_minutes").frame.select(
        "instrument", "start_utc", "verdict", "worst_nT"
    )
    found: list[Band] = []
    last: tuple[str, str, datetime] | None = None
    for name, minute, verdict, worst in rows.sort("instrument", "start_utc").iter_rows():
        if not start <= minute < end:
            continue
        upto = _utc(minute + MINUTE)
        if last == (name, verdict, minute):
            before = found.pop()
            most = max((x for x in (before.worst_nT, worst) if x is not None), default=None)
            found.append(Band(name, before.start_utc, upto, verdict, most))
        else:
            found.append(Band(name, _utc(minute), upto, verdict, worst))
        last = (name, verdict, minute + MINUTE)
    return found


def _findings(
    folder: Folder, check: CheckResult, start: datetime, end: datetime
) -> Iterable[EveningFinding]:
    """Yield the findings of a day, then those of the whole survey, the worst first."""
    live = decisions_in_force(folder)
    names = sorted({row.line for row in check.coverage}, key=len, reverse=True)
    rows = [_finding(item, names, live, start, end) for item in check.findings]
    kept = [row for row in rows if row.today or row.start_utc is None]
    place = {name: number for number, name in enumerate(SEVERITIES)}
    worst = len(SEVERITIES)
    yield from sorted(kept, key=lambda row: (not row.today, place.get(row.severity, worst)))


def _finding(
    item: Finding, names: list[str], live: list[DecideResult], start: datetime, end: datetime
) -> EveningFinding:
    """Return a finding with its lines and what stands about its proposal."""
    answer = answer_to(item.proposal, live) if item.proposal else Answer()
    return EveningFinding(
        **vars(item),
        today=item.start_utc is not None
        and _time(item.start_utc) < end
        and _time(item.end_utc or item.start_utc) >= start,
        lines=lines_named(item.text, names, item.instrument),
        answered=answer.answered,
        standing=answer.standing,
    )


def _time(text: str) -> datetime:
    """Return a time of a product."""
    return datetime.fromisoformat(text)


def _utc(time: datetime) -> str:
    """Return a time as text."""
    return f"{time.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"
