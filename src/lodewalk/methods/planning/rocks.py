"""Susceptibility of rocks, minerals and things in the ground, each range with its source."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.errors import InputError
from lodewalk.validation import check_within

HUNT: Final = "Hunt, Moskowitz and Banerjee 1995, AGU Reference Shelf 3, table 1"
SCANNED: Final = "read from a scanned copy"
MEMORY: Final = "from memory"

#: Where a range begins at zero or below, its typical value is that of a range which begins at
#: this share of its end (common practice).
LEAST_SHARE: Final = 0.01

#: Names are near when they share this part of their pairs of letters.
NEAR: Final = 0.5

#: Susceptibility for each per cent by volume of magnetite [SI]: 3000e-6 cgs, times 4 pi.
MAGNETITE_PER_PERCENT: Final = 3000e-6 * 4.0 * np.pi


@dataclass(frozen=True)
class Rock:
    """A rock, mineral or thing with the range of its susceptibility.

    Parameters
    ----------
    name, group : str
        Its name and what it belongs to.
    low, high : float
        Ends of the range [SI].
    source, status : str
        Where the range stands, and how it was taken from there.
    note : str
        What else to know; may be empty.
    """

    name: str
    group: str
    low: float
    high: float
    source: str
    status: str
    note: str = ""

    @property
    def typical(self) -> float:
        """Geometric mean of the range [SI].

        Susceptibility spreads by factors, so the middle of a range is taken of its logarithms. A
        range that begins at zero or below counts from a hundredth of its end (common practice);
        one that ends at zero or below has its arithmetic mean.
        """
        if self.high <= 0.0:
            return 0.5 * (self.low + self.high)
        return float(np.sqrt(self.least * self.high))

    @property
    def least(self) -> float:
        """Low end above zero of a range whose high end is, for its logarithm [SI]."""
        return self.low if self.low > 0.0 else LEAST_SHARE * self.high


def _hunt(name: str, group: str, low: float, high: float) -> Rock:
    """Return a row of the table that was read; its unit is 1e-6 SI."""
    return Rock(name, group, low * 1e-6, high * 1e-6, HUNT, SCANNED)


def _recalled(name: str, group: str, low: float, high: float, source: str, note: str = "") -> Rock:
    """Return a row from memory; its unit is SI."""
    return Rock(name, group, low, high, source, MEMORY, note)


ROCKS: Final = (
    _hunt("andesite", "igneous", 170000.0, 170000.0),
    _hunt("basalt", "igneous", 250.0, 180000.0),
    _hunt("diabase", "igneous", 1000.0, 160000.0),
    _hunt("diorite", "igneous", 630.0, 130000.0),
    _hunt("gabbro", "igneous", 1000.0, 90000.0),
    _hunt("granite", "igneous", 0.0, 50000.0),
    _hunt("peridotite", "igneous", 96000.0, 200000.0),
    _hunt("porphyry", "igneous", 250.0, 210000.0),
    _hunt("pyroxenite", "igneous", 130000.0, 130000.0),
    _hunt("rhyolite", "igneous", 250.0, 38000.0),
    _hunt("igneous rocks (all)", "igneous", 2700.0, 270000.0),
    _hunt("average acidic igneous rocks", "igneous", 38.0, 82000.0),
    _hunt("average basic igneous rocks", "igneous", 550.0, 120000.0),
    _hunt("clay", "sedimentary", 170.0, 250.0),
    _hunt("coal", "sedimentary", 25.0, 25.0),
    _hunt("dolomite", "sedimentary", -10.0, 940.0),
    _hunt("limestone", "sedimentary", 2.0, 25000.0),
    _hunt("red sediments", "sedimentary", 10.0, 100.0),
    _hunt("sandstone", "sedimentary", 0.0, 20900.0),
    _hunt("shale", "sedimentary", 63.0, 18600.0),
    _hunt("average sedimentary rocks", "sedimentary", 0.0, 50000.0),
    _hunt("amphibolite", "metamorphic", 750.0, 750.0),
    _hunt("gneiss", "metamorphic", 0.0, 25000.0),
    _hunt("granulite", "metamorphic", 3000.0, 30000.0),
    _hunt("phyllite", "metamorphic", 1600.0, 1600.0),
    _hunt("quartzite", "metamorphic", 4400.0, 4400.0),
    _hunt("schist", "metamorphic", 26.0, 3000.0),
    _hunt("serpentine", "metamorphic", 3100.0, 18000.0),
    _hunt("slate", "metamorphic", 0.0, 38000.0),
    _hunt("average metamorphic rocks", "metamorphic", 0.0, 73000.0),
    _hunt("graphite", "mineral non-iron", -200.0, -80.0),
    _hunt("calcite", "mineral non-iron", -39.0, -7.5),
    _hunt("anhydrite", "mineral non-iron", -60.0, -14.0),
    _hunt("gypsum", "mineral non-iron", -29.0, -13.0),
    _hunt("ice", "mineral non-iron", -9.0, -9.0),
    _hunt("orthoclase", "mineral non-iron", -17.0, -13.0),
    _hunt("magnesite", "mineral non-iron", -15.0, -15.0),
    _hunt("forsterite", "mineral non-iron", -12.0, -12.0),
    _hunt("serpentinite (as printed)", "mineral non-iron", 3100.0, 75000.0),
    _recalled("magnetite", "mineral iron", 1.0, 5.7, HUNT, "pure; of a rock count its share"),
    _recalled("pyrrhotite", "mineral iron", 4.6e-4, 1.4, HUNT, "often with strong remanence"),
    _recalled("hematite", "mineral iron", 5e-4, 0.04, HUNT, "often with strong remanence"),
    _recalled("ilmenite", "mineral iron", 2.2e-3, 3.8, HUNT),
    _recalled("titanomagnetite", "mineral iron", 0.13, 0.62, HUNT),
    _recalled("maghemite", "mineral iron", 2.0, 2.5, HUNT),
    _recalled(
        "banded iron formation",
        "ore",
        0.03,
        3.0,
        "Clark and Emerson 1991, Exploration Geophysics 22, 547-556",
        "often with remanence; strongest along its bands",
    ),
    _recalled(
        "ironstone",
        "ore",
        0.01,
        1.5,
        "Clark and Emerson 1991, Exploration Geophysics 22, 547-556",
        "magnetite-bearing; a hematite ironstone is far weaker",
    ),
    _recalled(
        "laterite",
        "soil",
        5e-4,
        0.03,
        "Clark 1997, AGSO Journal 17(2), 83-103",
        "maghemite pisoliths; patchy, a noise more often than a target",
    ),
    _recalled(
        "maghemite soil",
        "soil",
        5e-4,
        0.02,
        "Mullins 1977, Journal of Soil Science 28, 223-246",
    ),
    _recalled("topsoil", "soil", 1e-5, 5e-3, "Mullins 1977, Journal of Soil Science 28, 223-246"),
    _recalled(
        "fired clay",
        "made by people",
        1e-3,
        0.02,
        "Aitken 1974, Physics and Archaeology, chapter on magnetic location",
        "its remanence along the field when it cooled is several times the induced (ratio 2 to 10)",
    ),
    _recalled(
        "steel",
        "made by people",
        50.0,
        500.0,
        "Bozorth 1951, Ferromagnetism, tables of initial permeability",
        "shape alone decides: a compact piece acts as 3 SI; remanence adds a factor of several",
    ),
    _recalled(
        "iron object",
        "made by people",
        50.0,
        500.0,
        "Bozorth 1951, Ferromagnetism, tables of initial permeability",
        "shape alone decides: a compact piece acts as 3 SI; remanence adds a factor of several",
    ),
)

_BY_NAME: Final = {rock.name: rock for rock in ROCKS}


def rock_named(name: str) -> Rock:
    """Return a row of the table of rocks.

    Parameters
    ----------
    name : str
        Its name; capitals and a plural *s* don't count.

    Returns
    -------
    Rock

    Raises
    ------
    InputError
        For an unknown name, with those that are near.

    Examples
    --------
    >>> gabbro = rock_named("Gabbro")
    >>> gabbro.low, gabbro.high, round(gabbro.typical, 4)
    (0.001, 0.09, 0.0095)
    """
    wanted = " ".join(name.lower().split())
    for candidate in (wanted, wanted.removesuffix("s")):
        if candidate in _BY_NAME:
            return _BY_NAME[candidate]
    alike = sorted(_BY_NAME, key=lambda known: (-_likeness(wanted, known), known))
    near = [known for known in alike[:5] if _likeness(wanted, known) >= NEAR]
    known = "Near to it" if near else "The table has"
    raise InputError(
        "The table of rocks has no such rock or mineral.",
        value=name,
        remedy=f"{known}: {', '.join(near or sorted(_BY_NAME))}. Or give its susceptibility.",
    )


def _likeness(first: str, second: str) -> float:
    """Return how alike two names are, 0 to 1: the share of the pairs of letters in the shorter."""
    pairs = [{name[i : i + 2] for i in range(len(name) - 1)} for name in (first, second)]
    least = min(len(found) for found in pairs)
    return len(pairs[0] & pairs[1]) / least if least else 0.0


def magnetite_susceptibility(volume_percent: float) -> float:
    """Return the susceptibility of a rock from its share of magnetite.

    Parameters
    ----------
    volume_percent : float
        Share of magnetite by volume [%], 0 to 100.

    Returns
    -------
    float
        Susceptibility [SI].

    Raises
    ------
    InputError
        For a share outside 0 to 100.

    Notes
    -----
    3000e-6 cgs for each per cent, times 4 pi [1]_; a rule for a few per cent, spread grains.

    References
    ----------
    .. [1] Geophysics, 18(2), 383 (1953): outcrops in Minnesota (abstract read).

    Examples
    --------
    >>> round(magnetite_susceptibility(1.0), 4)
    0.0377
    """
    check_within(volume_percent, name="Share of magnetite", low=0.0, high=100.0, unit="%")
    return float(MAGNETITE_PER_PERCENT * volume_percent)
