"""Which of several clocks is wrong, where only their differences are known."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np

from lodewalk.methods.checks.clocks.combine_network import Network
from lodewalk.methods.checks.clocks.evidence import DETECTED_SD
from lodewalk.methods.checks.clocks.naming import SCATTER_S, slip_density

#: Probability from which the wrong clock counts as known.
SURE: Final = 0.85

#: How much rarer a slip other than GPS time is where each reading carries a GPS position.
STAMPED: Final = 0.1


@dataclass(frozen=True)
class Reference:
    """The clock that the others are compared with.

    Parameters
    ----------
    instrument : str
        Its name.
    right : frozenset of str
        It and those that agree with it.
    probability : float
        Probability that these are the right ones.
    certain : bool
        Whether that is enough, or nothing disagrees.
    """

    instrument: str
    right: frozenset[str]
    probability: float
    certain: bool


@dataclass(frozen=True)
class Site:
    """What is known besides the links."""

    zone_offset_s: float | None
    gps_minus_utc_s: float
    stamped: Collection[str]
    bases: Collection[str]
    anew: Collection[str] = ()


def choose_reference(network: Network, site: Site) -> Reference:
    """Return the clock most probably right, as the reference of a network without UTC."""
    groups: dict[frozenset[str], list[float]] = {}
    for node in network.nodes:
        score = _log_score(network, node, site)
        groups.setdefault(_agreeing(network, node), []).append(score)
    scores = {group: float(np.max(found)) for group, found in groups.items()}
    total = np.logaddexp.reduce(list(scores.values()))
    best = max(scores, key=lambda group: scores[group])
    probability = float(np.exp(scores[best] - total))
    certain = probability >= SURE
    if not certain:
        best = _of_the_base(network, scores, site, best)
        probability = float(np.exp(scores[best] - total))
    order = {node: place for place, node in enumerate(network.nodes)}
    # A clock that was set anew is the worse one to compare with.
    stamped = site.stamped if certain else ()
    member = min(
        best, key=lambda n: (n in site.anew, n not in stamped, n not in site.bases, order[n])
    )
    return Reference(member, best, probability, certain)


def _agreeing(network: Network, node: str) -> frozenset[str]:
    """Return the clocks that don't differ from one by more than their error."""
    return frozenset(other for other in network.nodes if _agree(*network.between(other, node)))


def _agree(offset_s: float, sd_s: float) -> bool:
    return abs(offset_s) <= DETECTED_SD * float(np.hypot(sd_s, SCATTER_S))


def _log_score(network: Network, right: str, site: Site) -> float:
    """Return the log-likelihood of all differences if one clock is right."""
    score = 0.0
    for node in network.nodes:
        if node == right:
            continue
        offset, sd = network.between(node, right)
        gps, other = slip_density(
            offset,
            sd,
            zone_offset_s=site.zone_offset_s,
            gps_minus_utc_s=site.gps_minus_utc_s,
        )
        spread = float(np.hypot(sd, SCATTER_S))
        agrees = float(np.exp(-0.5 * (offset / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))
        other *= STAMPED if node in site.stamped else 1.0
        score += float(np.log(agrees + gps + other))
    return score


def _of_the_base(
    network: Network,
    scores: dict[frozenset[str], float],
    site: Site,
    best: frozenset[str],
) -> frozenset[str]:
    """Return the group that holds a base, so that an open difference is the rover's."""
    with_base = [group for group in scores if any(node in site.bases for node in group)]
    if with_base:
        return max(with_base, key=lambda group: scores[group])
    if len(network.nodes) == 2:  # a link is rover minus base
        return next(group for group in scores if network.links[0].second in group)
    return best
