"""The cautions that every survey carries."""

from dataclasses import dataclass

from lodewalk.handover.words import CAUTIONS


@dataclass(frozen=True)
class Caution:
    """A caution: its head and what it says."""

    head: str
    text: str


@dataclass(frozen=True)
class CautionsResult:
    """All cautions, the gravest first."""

    cautions: list[Caution]


def cautions() -> CautionsResult:
    """Return the cautions of the report, the plan sheet and the map page."""
    return CautionsResult([Caution(item.label, item.value) for item in CAUTIONS])
