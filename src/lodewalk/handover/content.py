"""What a report says, as plain records; how it looks is the template's business."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from lodewalk.handover.evening import Evening
from lodewalk.handover.rocks_content import Rocks


@dataclass(frozen=True)
class Job:
    """What the survey is, in words.

    `convergence_deg` is the angle from true to grid north, clockwise [degrees]; `made_utc` is
    printed as it stands and left out where empty.
    """

    name: str
    crs: str
    crs_title: str
    zone: str = "UTC"
    local_zone: str = ""
    purpose: str = ""
    place: str = ""
    convergence_deg: float = 0.0
    made_utc: str = ""


@dataclass(frozen=True)
class Fact:
    """A label, its value with the unit, and a sentence of help."""

    label: str
    value: str
    text: str = ""


@dataclass(frozen=True)
class Instrument:
    """One instrument: its name, what it did, what is known of it and of its sensor's height."""

    name: str
    role: str
    text: str = ""
    sensor: str = ""


@dataclass(frozen=True)
class SourceFile:
    """One raw file with its digest."""

    name: str
    role: str
    sha256: str
    instrument: str = ""
    zone: str = ""
    rows: int | None = None
    size_bytes: int | None = None


@dataclass(frozen=True)
class Day:
    """One day with its verdict: keep, doubt or re-walk."""

    date: str
    verdict: str
    reasons: tuple[str, ...] = ()
    range_nT: float | None = None
    worst_chord_nT: float | None = None
    activity: str = ""


@dataclass(frozen=True)
class Finding:
    """One finding of the checks."""

    severity: str
    kind: str
    text: str
    instrument: str = ""
    span: str = ""
    place: str = ""


@dataclass(frozen=True)
class Spread:
    """Size of one quantity over the kept readings [nT]; `used` is false where it is not applied."""

    name: str
    text: str
    used: bool
    count: int = 0
    least: float | None = None
    median: float | None = None
    most: float | None = None
    rms: float | None = None
    sd: float | None = None


@dataclass(frozen=True)
class ErrorTerm:
    """One term of the error budget over the kept readings [nT].

    `share` is its share of the variance and `largest` the share of readings where it is the
    largest; `shared_by` says of which readings the error is one and the same.
    """

    name: str
    text: str
    estimated: bool
    median: float | None = None
    high: float | None = None
    share: float | None = None
    largest: float | None = None
    shared_by: str = ""


@dataclass(frozen=True)
class HeadingRow:
    """Heading error of one rover at eight headings from north clockwise, and what tells it."""

    instrument: str
    cells: tuple[str, ...]
    evidence: str


@dataclass(frozen=True)
class LineRow:
    """One passage of a line."""

    line: str
    instrument: str
    day: str
    start: str
    end: str
    readings: int
    kept: int
    length_m: float | None
    azimuth_deg: float | None
    noise_nT: float | None
    tie: bool
    verdict: str = ""
    reasons: tuple[str, ...] = ()
    noise_over_share: float | None = None


@dataclass(frozen=True)
class ReportFigure:
    """A figure as PNG bytes with its words.

    `section` is map, errors, targets, transforms, lineaments, rocks, compact, base, heading or
    line; a `narrow` one is half as wide as a page.
    """

    section: str
    title: str
    caption: str
    alt: str
    png: bytes = field(repr=False)
    narrow: bool = False


@dataclass(frozen=True)
class Undrawn:
    """A figure that could not be drawn: its section, what it is called, and why."""

    section: str
    name: str
    reason: str


@dataclass(frozen=True)
class Setting:
    """One setting with its default."""

    name: str
    value: str
    default: str
    unit: str = ""
    text: str = ""

    @property
    def changed(self) -> bool:
        """Whether the value differs from the default."""
        return self.value != self.default


@dataclass(frozen=True)
class Step:
    """One step of the processing with its version and the digest of its product."""

    name: str
    version: str
    digest: str = ""
    text: str = ""


@dataclass(frozen=True)
class Decided:
    """A decision of a person that is in force: what it does, to what, why, by whom and when."""

    what: str
    about: str
    value: str
    reason: str
    who: str
    when_utc: str


@dataclass(frozen=True)
class Provenance:
    """Where the numbers come from: files, decisions, steps, versions of the libraries, settings."""

    sources: tuple[SourceFile, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    steps: tuple[Step, ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    settings: tuple[Setting, ...] = ()
    decisions: tuple[Decided, ...] = ()


@dataclass(frozen=True)
class ReportContent:
    """Everything that a report says.

    An empty part is not left out: the report says that it is missing and why that matters.
    """

    job: Job
    provenance: Provenance
    summary: tuple[Fact, ...] = ()
    site: tuple[Fact, ...] = ()
    datum: tuple[Fact, ...] = ()
    levels: tuple[Fact, ...] = ()
    level_text: tuple[str, ...] = ()
    days: tuple[Day, ...] = ()
    findings: tuple[Finding, ...] = ()
    findings_total: int = 0
    corrections: tuple[Spread, ...] = ()
    stages: tuple[Spread, ...] = ()
    heading_text: str = ""
    heading: tuple[HeadingRow, ...] = ()
    corrections_text: tuple[str, ...] = ()
    dropped: tuple[Fact, ...] = ()
    errors: tuple[ErrorTerm, ...] = ()
    errors_text: tuple[str, ...] = ()
    lines: tuple[LineRow, ...] = ()
    evening: Evening = field(default_factory=Evening)
    rocks: Rocks = field(default_factory=Rocks)
    figures: tuple[ReportFigure, ...] = ()
    undrawn: tuple[Undrawn, ...] = ()

    def figures_of(self, section: str) -> list[ReportFigure]:
        """Return the figures of one section."""
        return [figure for figure in self.figures if figure.section == section]

    def undrawn_of(self, section: str) -> list[Undrawn]:
        """Return the figures of one section that could not be drawn."""
        return [figure for figure in self.undrawn if figure.section == section]
