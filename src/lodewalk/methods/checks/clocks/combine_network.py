"""Least squares over a network of clock differences, one wrong one among them left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import chi2

from lodewalk.methods.checks.clocks.evidence import (
    DETECTED,
    MEASURED,
    NOT_IDENTIFIABLE,
    ClockEvidence,
)
from lodewalk.validation import FloatArray

UTC: Final = "UTC"

#: Links contradict each other when chance has less than this probability.
CONTRADICTION: Final = 0.001

#: The rest agrees when chance has more than this probability.
AGREEMENT: Final = 0.01

#: Smallest sd of a link [s].
LEAST_SD_S: Final = 0.01

#: A link counts as one that an offset rests on from this share.
RESTS_ON: Final = 0.05

RANK: Final = {NOT_IDENTIFIABLE: 0, DETECTED: 1, MEASURED: 2}


@dataclass(frozen=True)
class ClockLink:
    """Evidence on the difference of two clocks.

    Parameters
    ----------
    first, second : str
        Instruments; the second may be ``"UTC"``. The evidence is the first clock minus the second.
    evidence : ClockEvidence
        The difference.
    method : str
        The kind of evidence, in words.
    day : str
        The field day that it was taken on, YYYY-MM-DD; empty (the default) for evidence that is of
        no single day.
    """

    first: str
    second: str
    evidence: ClockEvidence
    method: str
    day: str = ""


@dataclass(frozen=True)
class Network:
    """Clocks that links join, adjusted.

    Parameters
    ----------
    nodes : tuple of str
        The clocks, UTC last where it is among them.
    offset_s : array, shape (n,)
        Each clock minus the last [s].
    covariance_s2 : array, shape (n, n)
        Covariance of the offsets; zero in the last row and column [s^2].
    gain : array, shape (n, m)
        Share of each used link in each offset.
    links : tuple of ClockLink
        The links used.
    dropped : tuple of ClockLink
        A link that the others contradict.
    inflation : float
        Factor on the sd because links contradict each other; 1 where they agree.
    """

    nodes: tuple[str, ...]
    offset_s: FloatArray
    covariance_s2: FloatArray
    gain: FloatArray
    links: tuple[ClockLink, ...]
    dropped: tuple[ClockLink, ...] = ()
    inflation: float = 1.0

    @property
    def anchored(self) -> bool:
        """Whether UTC is among the clocks."""
        return self.nodes[-1] == UTC

    def between(self, first: str, second: str) -> tuple[float, float]:
        """Return first clock minus second, and its sd [s]."""
        one, other = self.nodes.index(first), self.nodes.index(second)
        c = self.covariance_s2
        variance = c[one, one] + c[other, other] - 2 * c[one, other]
        return float(self.offset_s[one] - self.offset_s[other]), float(np.sqrt(max(variance, 0.0)))

    def methods(self, first: str, second: str) -> tuple[str, ...]:
        """Return the kinds of evidence that a difference rests on."""
        share = np.abs(self.gain[self.nodes.index(first)] - self.gain[self.nodes.index(second)])
        used = [
            link.method for link, part in zip(self.links, share, strict=True) if part > RESTS_ON
        ]
        return tuple(dict.fromkeys(used))


def says_something(link: ClockLink) -> bool:
    """Tell whether a link holds a number."""
    return bool(np.isfinite(link.evidence.offset_s) and np.isfinite(link.evidence.sd_s))


def networks(links: Sequence[ClockLink]) -> list[Network]:
    """Return the adjusted networks into which the links fall."""
    return [_robust(members) for members in joined(links)]


def joined(links: Sequence[ClockLink]) -> list[list[ClockLink]]:
    """Return the links in groups whose clocks hang together."""
    parts: list[tuple[set[str], list[ClockLink]]] = []
    for link in links:
        ends, members = {link.first, link.second}, [link]
        for part in [part for part in parts if part[0] & ends]:
            ends |= part[0]
            members = part[1] + members
            parts.remove(part)
        parts.append((ends, members))
    return [members for _, members in parts]


def _nodes(links: Sequence[ClockLink]) -> tuple[str, ...]:
    """Return the clocks in the order in which they occur, UTC last."""
    found = dict.fromkeys(end for link in links for end in (link.first, link.second))
    return (*(node for node in found if node != UTC), *([UTC] if UTC in found else []))


def adjusted(links: Sequence[ClockLink]) -> tuple[Network, float, int] | None:
    """Return network, chi-square and degrees of freedom; None where the links don't join up."""
    nodes = _nodes(links)
    sd = np.array([max(link.evidence.sd_s, LEAST_SD_S) for link in links])
    observed = np.array([link.evidence.offset_s for link in links])
    design = np.zeros((len(links), len(nodes)))
    for row, link in enumerate(links):
        design[row, nodes.index(link.first)] += 1.0
        design[row, nodes.index(link.second)] -= 1.0
    free = design[:, :-1] / sd[:, None]
    if np.linalg.matrix_rank(design[:, :-1]) < len(nodes) - 1:
        return None
    inverse = np.linalg.pinv(free, rcond=1e-12)
    gain = np.zeros((len(nodes), len(links)))
    gain[:-1] = inverse / sd
    offset = gain @ observed
    covariance = (gain * sd**2) @ gain.T
    misfit = (observed - design @ offset) / sd
    network = Network(nodes, offset, covariance, gain, tuple(links))
    return network, float(misfit @ misfit), len(links) - len(nodes) + 1


def _robust(links: list[ClockLink]) -> Network:
    """Return the network without the one link that the others contradict, or with wider sd."""
    whole = adjusted(links)
    assert whole is not None  # the links of one part join up
    network, misfit, freedom = whole
    if freedom == 0 or chi2.sf(misfit, freedom) >= CONTRADICTION:
        return network
    better = _without_one(links)
    if better is not None:
        return better
    factor = float(np.sqrt(misfit / freedom))
    return Network(
        network.nodes,
        network.offset_s,
        network.covariance_s2 * factor**2,
        network.gain,
        network.links,
        inflation=factor,
    )


def _without_one(links: list[ClockLink]) -> Network | None:
    """Return the network without the weakest link whose absence makes peace; None if it is open.

    What was measured beats what was only detected, and that beats what couldn't be identified.
    """
    choices = []
    for wrong in range(len(links)):
        rest = links[:wrong] + links[wrong + 1 :]
        found = adjusted(rest)
        if found is None or set(found[0].nodes) != set(_nodes(links)):
            continue
        network, misfit, freedom = found
        if freedom == 0 or chi2.sf(misfit, freedom) >= AGREEMENT:
            choices.append((RANK[links[wrong].evidence.state], wrong, network))
    lowest = [choice for choice in choices if choice[0] == min(c[0] for c in choices)]
    if len(lowest) != 1:
        return None
    _, wrong, network = lowest[0]
    return Network(
        network.nodes,
        network.offset_s,
        network.covariance_s2,
        network.gain,
        network.links,
        dropped=(links[wrong],),
    )
