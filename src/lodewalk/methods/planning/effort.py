"""What a survey on foot costs: hours, days, readings, memory, batteries, line cutting."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError

Floats = NDArray[np.float64]
#: Pace through each kind of terrain beside that on open ground (common practice; at equal effort
#: light and heavy brush cost 1.2 and 1.5 times a paved road, Soule and Goldman 1972, J. Appl.
#: Physiol. 32, 706-708, from memory).
TERRAIN_PACE: Final = MappingProxyType({"open": 1.0, "grass": 0.9, "bush": 0.65, "forest": 0.5})
#: A base begins to record this long before the rover and ends as long after it (common practice).
BASE_LEAD_S: Final = 900.0
#: How much longer the walking may take than reckoned, at best, most likely and at worst.
WALKING_RANGE: Final = (0.87, 1.0, 1.3)
#: Share that is walked again, at best, most likely and at worst.
AGAIN_RANGE: Final = (0.0, 0.05, 0.15)


def walking_pace(pace_m_s: float, terrain: str) -> float:
    """Return the pace through a kind of terrain on level ground [m/s].

    Raises
    ------
    InputError
        For a terrain that isn't known.

    Examples
    --------
    >>> round(walking_pace(1.2, "bush"), 2)
    0.78
    """
    if terrain not in TERRAIN_PACE:
        raise InputError(f"Terrain is one of {', '.join(TERRAIN_PACE)}.", value=terrain)
    return pace_m_s * TERRAIN_PACE[terrain]


@dataclass(frozen=True)
class StandBy:
    """Share of field days on which a disturbed field stops the work.

    Parameters
    ----------
    quiet_year, mean, active_year : float
        Share in a quiet year, most likely, and in a disturbed year.
    """

    quiet_year: float
    mean: float
    active_year: float


@dataclass(frozen=True)
class Work:
    """The work that is planned, and the gear.

    Parameters
    ----------
    tours_s : array, shape (tours,)
        Time for which the rover of each tour walks [s].
    rovers : int
        Rovers that walk at the same time.
    set_up_h : float
        Set-up, tests and packing each day [h].
    cut_m : float
        Length that has to be cut open [m].
    cutting_m_h : float or None
        What a crew opens in an hour [m/h]; None where nothing is cut.
    reading_interval_s, base_interval_s : float
        Time between readings of rover and base [s].
    battery_h : float
        Hours that a battery lasts.
    memory_readings : int
        Readings that an instrument holds.
    """

    tours_s: Floats
    rovers: int
    set_up_h: float
    cut_m: float
    cutting_m_h: float | None
    reading_interval_s: float
    base_interval_s: float
    battery_h: float
    memory_readings: int


@dataclass(frozen=True)
class Effort:
    """What the work costs.

    Parameters
    ----------
    field_days : int
        Days of walking as they are planned.
    days_low, days, days_high : int
        Days in the field, with what is walked again and storms: at best, most likely, at worst.
    walking_h, rover_h : float
        Hours of walking of all rovers, and with set-up [h].
    stand_by_low, stand_by, stand_by_high : float
        Days of these that storms take.
    cutting_h : float or None
        Hours of line cutting [h].
    readings_rover, readings_base : int
        Readings of all rovers, and of the base.
    batteries_rover, batteries_base : int
        Charged batteries for each rover and for the base on the longest day.
    rover_full_after_days, base_full_after_days : float
        Days until the memory is full [d].
    """

    field_days: int
    days_low: int
    days: int
    days_high: int
    walking_h: float
    rover_h: float
    stand_by_low: float
    stand_by: float
    stand_by_high: float
    cutting_h: float | None
    readings_rover: int
    readings_base: int
    batteries_rover: int
    batteries_base: int
    rover_full_after_days: float
    base_full_after_days: float


def effort(work: Work, storms: StandBy) -> Effort:
    """Return what the work costs.

    Examples
    --------
    >>> work = Work(np.full(4, 18_000.0), 2, 1.5, 0.0, None, 1.0, 5.0, 10.0, 500_000)
    >>> found = effort(work, StandBy(0.0, 0.1, 0.3))
    >>> found.field_days, (found.days_low, found.days, found.days_high), found.readings_rover
    (2, (2, 3, 5), 72000)
    """
    tours = np.asarray(work.tours_s, dtype=float)
    days = -(-tours.size // work.rovers)
    longest = [tours[day * work.rovers : (day + 1) * work.rovers].max() for day in range(days)]
    base_s = np.array(longest) + 2 * BASE_LEAD_S
    share = np.array([storms.quiet_year, storms.mean, storms.active_year])
    walked = days * np.array(WALKING_RANGE) * (1 + np.array(AGAIN_RANGE))
    needed = np.ceil(walked / (1 - share) - 1e-9).astype(int)
    held = walked * share / (1 - share)
    most, base_most = (float(item.max(initial=0.0)) for item in (tours, base_s))
    walking_h = float(tours.sum()) / 3600
    return Effort(
        field_days=days,
        days_low=int(needed[0]),
        days=int(needed[1]),
        days_high=int(needed[2]),
        walking_h=walking_h,
        rover_h=walking_h + work.set_up_h * tours.size,
        stand_by_low=float(held[0]),
        stand_by=float(held[1]),
        stand_by_high=float(held[2]),
        cutting_h=None if work.cutting_m_h is None else work.cut_m / work.cutting_m_h,
        readings_rover=int(np.ceil(tours / work.reading_interval_s).sum()),
        readings_base=int(np.ceil(base_s / work.base_interval_s).sum()),
        batteries_rover=int(np.ceil(most / 3600 / work.battery_h)),
        batteries_base=int(np.ceil(base_most / 3600 / work.battery_h)),
        rover_full_after_days=work.memory_readings / max(1.0, most / work.reading_interval_s),
        base_full_after_days=work.memory_readings / max(1.0, base_most / work.base_interval_s),
    )
