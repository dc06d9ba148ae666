"""The decision that a finding proposes, as data: taken or refused by a person, never by a step."""

import json
import shlex
from dataclasses import asdict, dataclass

#: Option of `lodewalk decide` for each number.
OPTIONS = {"offset_s": "--offset", "lag_s": "--lag", "sd_s": "--sd"}
#: What a bridge can rest on, by its code, in words.
SOURCES = {
    "sides": "the record on both sides",
    "other record": "another record",
    "quiet days": "the shape of other days",
}


@dataclass(frozen=True)
class Proposal:
    """A decision that a finding proposes: its kind, instrument, span as recorded, and value.

    Parameters
    ----------
    kind : str
        Kind of the decision.
    instrument : str
        Whose record it is about.
    start, end : str or None
        Span as recorded; None for an open end.
    offset_s, lag_s, sd_s : float or None
        The value of a clock or a lag [s].
    source : str or None
        What a bridge would rest on.
    error_95_nT : float or None
        How far a bridge can be wrong (95 %) [nT].

    Examples
    --------
    >>> Proposal("clock", "R 2", offset_s=17.4).command
    "decide clock --instrument 'R 2' --offset 17.4"
    """

    kind: str
    instrument: str
    start: str | None = None
    end: str | None = None
    offset_s: float | None = None
    lag_s: float | None = None
    sd_s: float | None = None
    source: str | None = None
    error_95_nT: float | None = None

    @property
    def command(self) -> str:
        """The decision as it is typed, without survey, reason and person."""
        parts = [f"decide {self.kind} --instrument {shlex.quote(self.instrument)}"]
        parts += [f"--{name} {end}" for name in ("start", "end") if (end := getattr(self, name))]
        values = ((option, getattr(self, name)) for name, option in OPTIONS.items())
        parts += [f"{option} {value}" for option, value in values if value is not None]
        return " ".join(parts)

    def text(self) -> str:
        """Return it as JSON, as the table of findings holds it.

        Examples
        --------
        >>> Proposal("move", "B1", "2026-03-10T12:00:00").text()
        '{"instrument": "B1", "kind": "move", "start": "2026-03-10T12:00:00"}'
        """
        told = {name: value for name, value in asdict(self).items() if value is not None}
        return json.dumps(told, sort_keys=True)
