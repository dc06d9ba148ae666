"""The table of rocks, as a form offers it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class RockRow:
    """A rock and the range of its susceptibility [SI]."""

    name: str
    low: float
    typical: float
    high: float


@dataclass(frozen=True)
class RockList:
    """All rocks of the table."""

    rocks: list[RockRow]


def rock_list() -> RockList:
    """Return the table of rocks in the order of their names."""
    from lodewalk.methods.planning.rocks import ROCKS

    rows = [RockRow(rock.name, rock.low, rock.typical, rock.high) for rock in ROCKS]
    return RockList(sorted(rows, key=lambda row: row.name))
