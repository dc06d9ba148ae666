"""Decisions: what a person decided, with reason, person and time; appended, never rewritten."""

import json
import os
import re
import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import (
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    SerializerFunctionWrapHandler,
    ValidationError,
    field_validator,
    model_serializer,
    model_validator,
)

from lodewalk.errors import InputError
from lodewalk.steps.set_up import TestName
from lodewalk.survey.clock import now_utc
from lodewalk.survey.folder import Folder

#: How the ends of a span are written, and what to say where one isn't.
TIME = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?")
WRITTEN = "a time is written YYYY-MM-DDTHH:MM:SS"
#: No clock is wrong by more than this [s].
TEN_YEARS_S = 3.2e8
#: A larger shift between field and position is an error of a clock [s].
MOST_LAG_S = 10.0


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Target(_Part):
    """What a decision is about: readings by id, or an instrument and a span as recorded."""

    readings: tuple[Annotated[str, Field(min_length=1)], ...] = ()
    instrument: str | None = None
    start: str | None = None
    end: str | None = None

    @model_validator(mode="after")
    def _check(self) -> "Target":
        if bool(self.readings) == bool(self.instrument):
            raise ValueError("the target names either readings or an instrument")
        if self.readings and (self.start or self.end):
            raise ValueError("a span goes with an instrument, not with readings")
        times = [None if end is None else _parsed(end) for end in (self.start, self.end)]
        if times[0] and times[1] and times[1] < times[0]:
            raise ValueError("a span ends after it starts")
        return self


class Clock(_Part):
    """Value of a decision on a clock: that clock minus UTC [s]."""

    offset_s: float = Field(ge=-TEN_YEARS_S, le=TEN_YEARS_S)


class Lag(_Part):
    """Value of a decision on a lag: time of the field reading less time of the position [s]."""

    lag_s: float
    sd_s: float | None = Field(default=None, ge=0, le=MOST_LAG_S)

    @field_validator("lag_s")
    @classmethod
    def _check_lag(cls, lag_s: float) -> float:
        if abs(lag_s) > MOST_LAG_S:
            raise ValueError(
                f"a lag lies between {-MOST_LAG_S:g} and {MOST_LAG_S:g} s; a larger shift is an "
                "error of a clock, see the kind clock"
            )
        return lag_s


class Trial(_Part):
    """Value of a decision that marks a span as a test of set-up or cleanliness."""

    test: TestName
    item: str = ""


class Tick(_Part):
    """Value of a decision that ticks an item of a set-up checklist."""

    item: str = Field(min_length=1)


class Pick(_Part):
    """Value of a decision that adds a pick at a reading; without a strike straight across.

    A `compact` one is a place under which a compact body is looked for, and has no strike.
    """

    name: str = Field(pattern=r"^P[1-9]\d*$")
    strike_deg: float | None = Field(default=None, ge=0, lt=360)
    compact: bool = False

    @model_validator(mode="after")
    def _check_compact(self) -> "Pick":
        if self.compact and self.strike_deg is not None:
            raise ValueError("a compact body has no strike")
        return self

    @model_serializer(mode="wrap")
    def _written(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        written: dict[str, Any] = handler(self)
        if not self.compact:
            written.pop("compact", None)
        return written


class Refuse(_Part):
    """Value of a decision that refuses the pick at a reading, or the lineament it lies on.

    `name` is what it was called: of several picks near the reading, this one is meant.
    """

    what: Literal["pick", "lineament"]
    name: str = ""


class Decline(_Part):
    """Value of a decision that refuses what a finding proposes, as it was proposed."""

    proposed: Literal["clock", "lag", "drop", "bridge", "move"]
    offset_s: float | None = None
    lag_s: float | None = None
    sd_s: float | None = None
    source: str | None = None
    error_95_nT: float | None = None


class Decision(_Part):
    """One decision; `withdraws` is the id of a decision that is taken back."""

    id: str = Field(min_length=1)
    kind: Literal[
        "clock", "lag", "drop", "keep", "bridge", "move", "test", "tick", "pick", "refuse",
        "decline",
    ]  # fmt: skip
    target: Target
    value: Clock | Lag | Trial | Tick | Pick | Refuse | Decline | None = None
    reason: str = Field(min_length=1, pattern=r"\S")
    who: str = Field(min_length=1, pattern=r"\S")
    when_utc: AwareDatetime
    withdraws: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _read_value(cls, row: Any) -> Any:
        """Read the value by its kind; another kind's value is left for `_check` to refuse."""
        kind, value = (row.get("kind"), row.get("value")) if isinstance(row, dict) else (None, None)
        if kind not in VALUES or not isinstance(value, dict):
            return row
        try:
            return row | {"value": VALUES[kind][0].model_validate(value)}
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(part) for part in ("value", *first["loc"]))
            told = first["msg"].removeprefix("Value error, ")
            raise ValueError(f"{place}: {told}") from error

    @model_validator(mode="after")
    def _check(self) -> "Decision":
        wanted, form = VALUES.get(self.kind, (type(None), "null"))
        if not isinstance(self.value, wanted):
            raise ValueError(f"a {self.kind} decision has the value {form}")
        if self.kind in ON_READING and len(self.target.readings) != 1:
            raise ValueError(f"a {self.kind} decision is about one reading")
        if self.kind not in ("drop", "keep", *ON_READING) and self.target.readings:
            raise ValueError(f"a {self.kind} decision is about an instrument")
        if self.kind == "move" and (self.target.start is None or self.target.end is not None):
            raise ValueError("a move has a start, the first moment at the new place, and no end")
        return self

    def effect(self) -> dict[str, Any]:
        """Return what a product depends on: neither id, person, reason nor time."""
        return self.model_dump(mode="json", include={"kind", "target", "value"})


#: Class of the value of each kind that has one, and how it is written.
VALUES: dict[str, tuple[type[_Part], str]] = {
    "clock": (Clock, '{"offset_s": …}'),
    "lag": (Lag, '{"lag_s": …, "sd_s": …}'),
    "test": (Trial, '{"test": …, "item": …}'),
    "tick": (Tick, '{"item": …}'),
    "pick": (Pick, '{"name": …, "strike_deg": …, "compact": …}'),
    "refuse": (Refuse, '{"what": …, "name": …}'),
    "decline": (Decline, '{"proposed": …}'),
}
#: Kinds that are about one reading: the place on its line.
ON_READING = ("pick", "refuse")


def span_of(instrument: str, start: str | None, end: str | None) -> Target:
    """Return an instrument and a span as recorded, as a decision would hold them.

    Raises
    ------
    InputError
        For an end that is no time as recorded, or a span that ends before it starts.
    """
    try:
        return Target(instrument=instrument, start=start, end=end)
    except ValidationError as error:
        rule = f"This decision can't be taken: {_broken_rule(error)}."
        raise InputError(rule) from error


def _parsed(text: str) -> datetime:
    """Return a time as recorded, or raise with the form wanted."""
    try:
        time = datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(WRITTEN) from error
    if time.tzinfo is not None:
        raise ValueError("a span is written as recorded, without Z or offset")
    if not TIME.fullmatch(text):  # a date alone, or a week, would mean its first midnight
        raise ValueError(WRITTEN)
    return time


def read_decisions(folder: Folder) -> list[Decision]:
    """Return all lines as written, withdrawn ones too.

    Raises
    ------
    InputError
        For a line that is no decision, or withdraws one that isn't there.
    """
    path = folder.decisions_file
    if not path.exists():
        return []
    decisions: list[Decision] = []
    for number, line in enumerate(path.read_bytes().splitlines(), 1):
        if line.strip():
            known = {item.id: item.withdraws is None for item in decisions}
            decisions.append(_read_line(line, known, file=path.name, number=number))
    return decisions


def _read_line(line: bytes, known: Mapping[str, bool], *, file: str, number: int) -> Decision:
    """Return the decision on one line; `known` ids tell whether they can be withdrawn."""
    try:
        decision = Decision.model_validate_json(line)
    except ValidationError as error:
        raise InputError(
            f"This line is no decision: {_broken_rule(error)}.",
            file=file,
            line=number,
            remedy="Mend the line; doc/howto/decisions shows its form.",
        ) from error
    rule, value = "", decision.withdraws
    if decision.id in known:
        rule, value = "Two decisions have one id.", decision.id
    elif value and not known.get(value):
        rule = "A decision withdraws one that doesn't stand above it, or itself withdraws."
    if rule:
        remedy = "Give each decision an id of its own, and withdraw by the id of a decision."
        raise InputError(rule, file=file, line=number, value=value, remedy=remedy)
    return decision


def _broken_rule(error: ValidationError) -> str:
    """Return the first rule that a decision breaks, with the place in it.

    A rule about the target as a whole names in its own words what it is about.
    """
    first = error.errors()[0]
    whole = first["type"] == "value_error" and first["loc"] == ("target",)
    place = "" if whole else ".".join(str(part) for part in first["loc"])
    return f"{place + ': ' if place else ''}{first['msg'].removeprefix('Value error, ')}"


def in_force(decisions: Iterable[Decision], kinds: tuple[str, ...]) -> list[Decision]:
    """Return the decisions of these kinds that were not withdrawn, in the order taken."""
    known = list(decisions)
    withdrawn = {item.withdraws for item in known if item.withdraws}
    live = [item for item in known if item.kind in kinds and item.id not in withdrawn]
    return [item for item in live if not item.withdraws]


def append_decision(
    folder: Folder,
    *,
    kind: str,
    target: dict[str, Any],
    value: Mapping[str, Any] | None,
    reason: str,
    who: str,
    withdraws: str | None = None,
) -> Decision:
    """Append one decision and flush it to the disk.

    Raises
    ------
    InputError
        For a wrong kind, target or value, or an empty reason or person; nothing is written then.
    """
    row = {
        "id": uuid.uuid4().hex,
        "kind": kind,
        "target": target,
        "value": None if value is None else dict(value),
        "reason": reason,
        "who": who,
        "when_utc": now_utc(),
        "withdraws": withdraws,
    }
    text = json.dumps(row, sort_keys=True)
    try:
        Decision.model_validate_json(text)
    except ValidationError as error:
        raise InputError(
            f"This decision can't be taken: {_broken_rule(error)}.",
            remedy="The guide to decisions shows what each kind takes.",
        ) from error
    path = folder.decisions_file
    before = {item.id: item.withdraws is None for item in read_decisions(folder)}
    decision = _read_line(text.encode(), before, file=path.name, number=len(before) + 1)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.exists() and path.read_bytes()[-1:] not in (b"", b"\n")
    with path.open("a", encoding="utf-8") as stream:
        stream.write(("\n" if unfinished else "") + text + "\n")
        stream.flush()
        os.fsync(stream.fileno())
    return decision
