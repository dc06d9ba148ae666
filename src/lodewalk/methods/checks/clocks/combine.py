"""All evidence on the clocks together: each instrument's offset against UTC."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lodewalk.errors import InputError
from lodewalk.methods.checks.clocks.combine_blame import Reference, Site, choose_reference
from lodewalk.methods.checks.clocks.combine_days import Setting, listed, split_settings
from lodewalk.methods.checks.clocks.combine_network import (
    UTC,
    ClockLink,
    Network,
    networks,
    says_something,
)
from lodewalk.methods.checks.clocks.evidence import (
    DETECTED_SD,
    NOT_IDENTIFIABLE,
    clock_state,
)
from lodewalk.methods.checks.clocks.naming import duration, named_slips

__all__ = ["UTC", "ClockEstimate", "ClockLink", "DayClock", "combine_clocks"]

#: Offsets smaller than this need no name [s].
WORTH_NAMING_S: Final = 2.0


@dataclass(frozen=True)
class DayClock:
    """An instrument's clock on one field day.

    Parameters
    ----------
    day : str
        The day, YYYY-MM-DD.
    offset_s, sd_s : float
        Clock minus UTC, and its standard deviation [s]; NaN and infinity where nothing is known.
    state : str
        ``measured``, ``detected`` or ``not identifiable``.
    text : str
        The result in words.
    """

    day: str
    offset_s: float
    sd_s: float
    state: str
    text: str


@dataclass(frozen=True)
class ClockEstimate:
    """An instrument's clock against UTC.

    Parameters
    ----------
    instrument : str
        Its name.
    offset_s, sd_s : float
        Clock minus UTC, and its standard deviation [s]; NaN and infinity where nothing is known.
        Where the text names a reference, the offset is against that.
    state : str
        ``measured``, ``detected`` or ``not identifiable``.
    methods : tuple of str
        Kinds of evidence that it rests on.
    text : str
        The result in words.
    attribution_certain : bool
        False where a difference between instruments was given to this one, or to another one,
        without knowing which of them is wrong.
    days : tuple of DayClock
        The days that it has evidence of, each with its offset: that of all days, where they agree.
    anew : bool
        Whether the clock was set anew between days. Then offset, sd and state are those of the
        day on which it was furthest off, and the others are under `days`.
    """

    instrument: str
    offset_s: float
    sd_s: float
    state: str
    methods: tuple[str, ...]
    text: str
    attribution_certain: bool
    days: tuple[DayClock, ...] = ()
    anew: bool = False


def combine_clocks(
    links: Sequence[ClockLink],
    *,
    zone_offset_s: float | None,
    gps_minus_utc_s: float,
    gps_stamped: Mapping[str, bool] | None = None,
    bases: Collection[str] = (),
    instruments: Sequence[str] = (),
) -> tuple[ClockEstimate, ...]:
    """Combine the evidence on all clocks.

    Parameters
    ----------
    links : sequence of ClockLink
        Differences of two clocks, or of a clock and UTC. Those that say nothing are left out.
    zone_offset_s : float or None
        The site's local time minus UTC at the date [s]; None where it isn't known.
    gps_minus_utc_s : float
        GPS time minus UTC at the date [s].
    gps_stamped : mapping of str to bool, optional
        Whether an instrument's readings carry GPS positions in the same row.
    bases : collection of str
        Instruments that are bases; a difference that can't be attributed goes to the other one.
        Without them it goes to the first of a pair.
    instruments : sequence of str
        Further instruments to report on, linked or not.

    Returns
    -------
    tuple of ClockEstimate
        One for each instrument, in the order of `instruments`, then of the links.

    Raises
    ------
    InputError
        When a link joins a clock with itself, or has ``"UTC"`` first.

    Notes
    -----
    Offsets are those of least squares with weights 1/sd^2, each clock against UTC. Where the
    chi-square of the misfits has a probability under 0.001, the one link without which the rest
    agrees is left out: of several, the weakest, measured beating detected and that beating not
    identifiable. If that leaves it open, all sd of the network are multiplied by the root of
    chi-square over its degrees of freedom. A drift of the clocks between the times of the links
    isn't modelled.

    One offset holds for all days of an instrument as long as its days agree. Where they contradict
    each other, the clocks that were set anew between days have an offset for each setting
    (`split_settings`); a base, and what was set only once, ties the days together.

    Clocks that nothing ties to UTC have known differences only. Each in turn is taken as right
    and the others' offsets are weighted by how common such a slip is: the causes of `named_slips`
    with their signs, one slip sooner than two, ten times rarer where the readings carry GPS
    positions (GPS time kept as UTC excepted). If one group of agreeing clocks has a probability
    of 0.85 it is taken as right. That all of them are wrong by the same can't be seen. The
    reference itself has no offset: nothing was measured. All these weights are judgement.

    Examples
    --------
    >>> from lodewalk.methods.checks.clocks.evidence import ClockEvidence
    >>> link = ClockLink("R1", "B1", ClockEvidence(18.1, 0.3), "side-by-side run")
    >>> rover, base = combine_clocks([link], zone_offset_s=0.0, gps_minus_utc_s=18.0, bases=["B1"])
    >>> rover.instrument, rover.offset_s, rover.state, rover.attribution_certain
    ('R1', 18.1, 'measured', True)
    >>> base.state
    'not identifiable'
    """
    for link in links:
        if link.first in (link.second, UTC):
            raise InputError(
                "A link joins an instrument with another one or with UTC.",
                value=f"{link.first}, {link.second}",
            )
    split = split_settings([link for link in links if says_something(link)], bases)
    carried = [name for name, has in (gps_stamped or {}).items() if has]
    site = Site(
        zone_offset_s,
        gps_minus_utc_s,
        stamped=_of(split.settings, carried),
        bases=_of(split.settings, bases),
        anew=[name for name, setting in split.settings.items() if setting.days],
    )
    found: dict[str, ClockEstimate] = {}
    for network in networks(split.links):
        of_network = _against_utc(network, site) if network.anchored else _apart(network, site)
        found |= {n: _with_days(network, split.settings[n], e) for n, e in of_network.items()}
    ends = (end for link in links for end in (link.first, link.second))
    names = [name for name in dict.fromkeys([*instruments, *ends]) if name != UTC]
    return tuple(
        _of_settings(
            name, [found[s] for s, item in split.settings.items() if item.instrument == name]
        )
        or _unknown(name, links)
        for name in names
    )


def _of(settings: Mapping[str, Setting], instruments: Collection[str]) -> list[str]:
    """Return the names of all settings of some instruments."""
    return [name for name, setting in settings.items() if setting.instrument in instruments]


def _with_days(network: Network, setting: Setting, estimate: ClockEstimate) -> ClockEstimate:
    """Return an estimate with the days that it has evidence of."""
    name = estimate.instrument
    days = {link.day for link in network.links if name in (link.first, link.second) and link.day}
    rows = tuple(
        DayClock(day, estimate.offset_s, estimate.sd_s, estimate.state, estimate.text)
        for day in sorted(days)
    )
    return replace(estimate, instrument=setting.instrument, days=rows)


def _of_settings(instrument: str, settings: Sequence[ClockEstimate]) -> ClockEstimate | None:
    """Return the estimate of an instrument from those of its settings; None without any."""
    if len(settings) < 2:
        return settings[0] if settings else None
    known = [item for item in settings if item.state != NOT_IDENTIFIABLE]
    worst = max(known or settings, key=lambda item: abs(item.offset_s))
    days = sorted((day for item in settings for day in item.days), key=lambda day: day.day)
    text = f"The clock of {instrument} was set differently on different days. " + " ".join(
        item.text for item in settings
    )
    return replace(
        worst,
        methods=tuple(dict.fromkeys(m for item in settings for m in item.methods)),
        text=text,
        attribution_certain=all(item.attribution_certain for item in settings),
        days=tuple(days),
        anew=True,
    )


def _unknown(name: str, links: Sequence[ClockLink]) -> ClockEstimate:
    """Return the estimate of an instrument of which no evidence says anything."""
    tried = [link.method for link in links if name in (link.first, link.second)]
    methods = tuple(dict.fromkeys(tried))
    looked = f"; {', '.join(methods)} couldn't tell" if methods else ": there is no evidence"
    text = f"The clock of {name} can't be judged{looked}."
    return ClockEstimate(name, np.nan, np.inf, NOT_IDENTIFIABLE, methods, text, True)


def _against_utc(network: Network, site: Site) -> dict[str, ClockEstimate]:
    """Return the estimates of clocks that are tied to UTC."""
    return {
        node: _estimate(network, node, UTC, site, said=[], certain=True)
        for node in network.nodes[:-1]
    }


def _apart(network: Network, site: Site) -> dict[str, ClockEstimate]:
    """Return the estimates of clocks that nothing ties to UTC."""
    reference = choose_reference(network, site)
    others = [node for node in network.nodes if node != reference.instrument]
    agreed = reference.right >= set(network.nodes)
    estimates = {}
    for node in others:
        said = [_why(node, reference, site, agreed=agreed)]
        certain = reference.certain
        estimates[node] = _estimate(
            network, node, reference.instrument, site, said=said, certain=certain
        )
    text = (
        f"{reference.instrument} is the clock that {listed(others)} "
        f"{'is' if len(others) == 1 else 'are'} compared with. Nothing ties it to UTC, so its own "
        "error isn't known."
    )
    if not reference.certain:
        text += " It may be the wrong one."
    estimates[reference.instrument] = ClockEstimate(
        reference.instrument, np.nan, np.inf, NOT_IDENTIFIABLE, (), text, reference.certain
    )
    return estimates


def _why(node: str, reference: Reference, site: Site, *, agreed: bool) -> str:
    """Return the ground on which a difference is given to one clock."""
    other = reference.instrument
    if agreed:
        return f"{node} and {other} don't differ by more than the error; both may be off alike."
    if node in reference.right:
        return f"{node} agrees with {other}, which is taken as right."
    if not reference.certain:
        wrong = 1 - reference.probability
        return f"Which of {node} and {other} is wrong isn't known ({wrong:.0%} that it is {other})."
    grounds = []
    if len(reference.right) > 1:
        grounds.append(f"{listed(sorted(reference.right))} agree with each other")
    if other in site.stamped and node not in site.stamped:
        grounds.append(f"the readings of {other} carry GPS positions")
    if not grounds:
        grounds.append("such a slip is commoner with this sign")
    share = f"{reference.probability:.0%}"
    return f"{other} is taken as right ({share} probable): {' and '.join(grounds)}."


def _estimate(
    network: Network, node: str, reference: str, site: Site, *, said: list[str], certain: bool
) -> ClockEstimate:
    """Return the estimate of one clock against another or UTC, in numbers and words."""
    offset, sd = network.between(node, reference)
    state = clock_state(offset, sd)
    methods = network.methods(node, reference)
    text = [f"{node} minus {reference}: {offset:.1f} s, sd {sd:.1f} s, {state}.", *said]
    if state != NOT_IDENTIFIABLE and abs(offset) > max(DETECTED_SD * sd, WORTH_NAMING_S):
        text.append(_named(offset, sd, site))
    text += [
        f"{_pair(link)} by {link.method}, {_signed(link.evidence.offset_s)}, contradicts the rest "
        "and is left out."
        for link in network.dropped
    ]
    if network.inflation > 1:
        text.append(
            "The evidence contradicts itself; the sd is widened by a factor of "
            f"{network.inflation:.1f}."
        )
    return ClockEstimate(node, offset, sd, state, methods, " ".join(text), certain)


def _named(offset: float, sd: float, site: Site) -> str:
    """Return the likeliest cause in words."""
    named = named_slips(
        offset, sd, zone_offset_s=site.zone_offset_s, gps_minus_utc_s=site.gps_minus_utc_s
    )
    if not named:
        return "It fits no usual slip."
    return f"{named[0].text[:-1]} ({named[0].probability:.0%} probable)."


def _pair(link: ClockLink) -> str:
    return f"{link.first} minus {link.second}"


def _signed(offset: float) -> str:
    """Return an offset in words."""
    return f"{duration(offset)} {'ahead' if offset > 0 else 'behind'}"
