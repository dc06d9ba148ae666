"""Which clocks were set anew between field days, where one offset doesn't fit all their days."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from scipy.stats import chi2

from lodewalk.methods.checks.clocks.combine_network import (
    CONTRADICTION,
    UTC,
    ClockLink,
    adjusted,
    joined,
)
from lodewalk.methods.checks.clocks.evidence import DETECTED_SD

#: Days whose offsets differ by less than this had one setting (common practice) [s].
SAME_S: Final = 1.0

#: What a base must gain in chi-square more than a rover to be the one set anew (judgement): a
#: base is left running, and as much as chance gives in one of a thousand.
BASE_STAYS: Final = float(chi2.isf(CONTRADICTION, 1))


@dataclass(frozen=True)
class Setting:
    """One setting of a clock, and the days that it lasted; no days for all of them."""

    instrument: str
    days: tuple[str, ...] = ()


class SplitLinks(NamedTuple):
    """Links between settings of clocks, and what each name of a setting stands for."""

    links: list[ClockLink]
    settings: dict[str, Setting]


class _Fit(NamedTuple):
    chi_square: float
    freedom: int
    contradicts: bool


#: For each clock that was set anew, the name of its setting on each day.
Names = dict[str, dict[str, str]]


def split_settings(links: Sequence[ClockLink], bases: Collection[str] = ()) -> SplitLinks:
    """Give each clock as few settings as its days allow.

    Parameters
    ----------
    links : sequence of ClockLink
        Links that say something; those of a day carry it.
    bases : collection of str
        Instruments that are bases.

    Returns
    -------
    SplitLinks
        The links; a clock that was set anew bears the name of its setting, such as
        ``R1 on 2026-03-11``, in those of its days. Links of no single day aren't believed of such
        a clock, and are left out.

    Notes
    -----
    As long as the links contradict each other (chi-square with a probability under 0.001), the
    clock is looked for whose splitting by days lowers chi-square most, by more than chance does in
    one case of a thousand. Days of a clock whose offsets lie within 1 s, or three sd of their
    difference, of the next one stay together. Of a rover and a base that explain it alike the
    rover is taken. Contradictions within one day don't split a clock, since that can't explain
    them.

    Examples
    --------
    >>> from lodewalk.methods.checks.clocks.evidence import ClockEvidence
    >>> offsets = {"2026-03-10": 0.1, "2026-03-11": 3600.0, "2026-03-12": -0.2}
    >>> links = [ClockLink("R1", "UTC", ClockEvidence(offset, 0.5), "turns", day)
    ...     for day, offset in offsets.items()]
    >>> sorted(split_settings(links).settings)
    ['R1 on 2026-03-10 and 2026-03-12', 'R1 on 2026-03-11']
    """
    names: Names = {}
    daily = [link for link in links if link.day]
    for _ in range(len(_days(daily))):
        more = _next_split(daily, names, bases)
        if not more:
            break
        names |= more
    kept = [link for link in links if link.day or not names.keys() & {link.first, link.second}]
    settings = {end: Setting(end) for link in kept for end in _ends(link)}
    for instrument, own in names.items():
        for label in own.values():
            days = tuple(day for day, other in own.items() if other == label)
            settings[label] = Setting(instrument, days)
    found = _renamed(kept, names)
    used = {end for link in found for end in _ends(link)}
    return SplitLinks(found, {name: item for name, item in settings.items() if name in used})


def _ends(link: ClockLink) -> tuple[str, ...]:
    """Return the instruments of a link."""
    return tuple(end for end in (link.first, link.second) if end != UTC)


def _days(links: Sequence[ClockLink]) -> dict[str, list[str]]:
    """Return the days of each instrument that has evidence of several."""
    days: dict[str, set[str]] = {}
    for link in links:
        for end in _ends(link):
            days.setdefault(end, set()).update([link.day] if link.day else [])
    return {name: sorted(own) for name, own in days.items() if len(own) > 1}


def _renamed(links: Sequence[ClockLink], names: Mapping[str, Mapping[str, str]]) -> list[ClockLink]:
    """Return the links with the names of the settings in place of the instruments'."""
    return [
        replace(
            link,
            first=names.get(link.first, {}).get(link.day, link.first),
            second=names.get(link.second, {}).get(link.day, link.second),
        )
        for link in links
    ]


def _fit(links: Sequence[ClockLink]) -> _Fit:
    """Return chi-square, degrees of freedom, and whether the links contradict each other."""
    total, freedom, contradicts = 0.0, 0, False
    for part in joined(links):
        found = adjusted(part)
        if found is not None:
            total, freedom = total + found[1], freedom + found[2]
            contradicts |= found[2] > 0 and bool(chi2.sf(found[1], found[2]) < CONTRADICTION)
    return _Fit(total, freedom, contradicts)


def _next_split(links: Sequence[ClockLink], names: Names, bases: Collection[str]) -> Names:
    """Return the clock whose splitting explains most, with its settings; empty for none."""
    now = _fit(_renamed(links, names))
    best: tuple[float, Names] = (0.0, {})
    for instrument, days in _days(links).items() if now.contradicts else ():
        if instrument in names:
            continue
        own = _settings(links, names, instrument, days)
        if len(set(own[instrument].values())) < 2:
            continue
        then = _fit(_renamed(links, names | own))
        gain, spent = now.chi_square - then.chi_square, now.freedom - then.freedom
        if spent < 1 or chi2.sf(gain, spent) >= CONTRADICTION:
            continue
        score = gain - spent + (0.0 if instrument in bases else BASE_STAYS)
        if score > best[0]:
            best = (score, own)
    return best[1]


def _settings(
    links: Sequence[ClockLink], names: Names, instrument: str, days: Sequence[str]
) -> Names:
    """Return the names of a clock's settings, days of one setting together."""
    alone = {day: f"{instrument} on {day}" for day in days}
    of_name = {label: day for day, label in alone.items()}
    own: dict[str, str] = {}
    for part in joined(_renamed(links, names | {instrument: alone})):
        found = adjusted(part)
        if found is None:
            continue
        network = found[0]
        ours = [node for node in network.nodes if node in of_name]
        ours.sort(key=lambda node: network.offset_s[network.nodes.index(node)])
        apart = [network.between(b, a) for a, b in pairwise(ours)]
        cuts = [n + 1 for n, (s, sd) in enumerate(apart) if s > max(SAME_S, DETECTED_SD * sd)]
        for group in np.split(np.array(ours, dtype=object), cuts):
            together = sorted(of_name[node] for node in group)
            own |= dict.fromkeys(together, f"{instrument} on {listed(together)}")
    return {instrument: dict(sorted(own.items()))}


def listed(names: Sequence[str]) -> str:
    """Return names as a list in words.

    Examples
    --------
    >>> listed(["R1", "R2", "B1"])
    'R1, R2 and B1'
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
