"""Susceptibility of body and host: set, measured with a hand meter, or of the table of rocks."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lodewalk.errors import InputError
from lodewalk.methods.planning.contrast import (
    DRAWS,
    Estimate,
    estimate_of,
    mean_draws,
    place_means,
    range_draws,
)
from lodewalk.methods.planning.rocks import rock_named
from lodewalk.records.recorded import HandMeter

Floats = NDArray[np.float64]
#: Seed of the draws: the same for each survey, so that no unrelated setting moves the odds.
SEED = 1953
TINY = 1e-7


@dataclass(frozen=True)
class Contrast:
    """Susceptibility of body and host and their difference [SI], and draws of the difference."""

    target: Estimate
    host: Estimate
    contrast: Estimate
    draws: Floats

    @property
    def shown(self) -> float:
        """Contrast that is drawn and told: its usual size, with the sign that is likelier [SI].

        Where body and host may be much alike their median difference is next to nothing, which
        no body of the range need be.
        """
        sign = 1.0 if self.contrast.typical >= 0.0 else -1.0
        return sign * float(np.median(np.abs(self.draws)))

    def document(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            name: {
                "low": part.low,
                "typical": part.typical,
                "high": part.high,
                "places": part.places,
                "source": part.source,
            }
            for name, part in (
                ("target", self.target), ("host", self.host), ("contrast", self.contrast)
            )
        }  # fmt: skip


def rock_contrast(meter: HandMeter, body: Mapping[str, Any], host: Mapping[str, Any]) -> Contrast:
    """Return the contrast; a setting counts before hand-meter readings, they before the table.

    Raises
    ------
    InputError
        When nothing tells of the body, a rock is unknown, or body and host are the same.
    """
    rng = np.random.default_rng(SEED)
    target = _part("target", meter, body, rng)
    if target is None:
        raise InputError(
            "Nothing tells how magnetic the body is.",
            remedy="Set body.rock or body.susceptibility, or add hand-meter readings as a file of "
            "role hand_meter.",
        )
    around = _part("host", meter, host, rng)
    if around is None:
        around = np.zeros(DRAWS), 0, "taken as 0: no host is given"
    draws = target[0] - around[0]
    if np.abs(draws).max() < TINY:
        raise InputError(
            "Body and host are equally magnetic, so there is nothing to find.",
            value=f"{float(np.median(target[0])):g} SI",
            remedy="Check body and host in survey.toml.",
        )
    return Contrast(
        estimate_of(target[0], places=target[1], source=target[2]),
        estimate_of(around[0], places=around[1], source=around[2]),
        estimate_of(draws, places=min(target[1], around[1]), source="body less host"),
        draws,
    )


def _part(
    part: str, meter: HandMeter, wanted: Mapping[str, Any], rng: np.random.Generator
) -> tuple[Floats, int, str] | None:
    """Return draws of a part's susceptibility, its places and source; None where nothing tells."""
    if wanted["susceptibility"] is not None:
        return np.full(DRAWS, float(wanted["susceptibility"])), 0, "as set"
    rows = [(name or "").strip().lower() == part for name in meter.strings("part")]
    if any(rows):
        frame = meter.frame.filter(rows)
        means = place_means(
            frame["susceptibility"].to_numpy(),
            readings=frame["readings"].to_numpy(),
            places=frame["place"].to_list(),
        )
        readings = int(frame["readings"].sum())
        places = "one place" if means.size == 1 else f"{means.size} places"
        words = f"hand meter, {readings} reading{'s' * (readings != 1)} at {places}"
        return mean_draws(means, rng=rng), means.size, words
    if wanted["rock"]:
        rock = rock_named(wanted["rock"])
        words = f"{rock.name}: {rock.source} ({rock.status})"
        return range_draws(rock, rng=rng), 0, words + (f"; {rock.note}" if rock.note else "")
    return None
