"""Traces of lineaments over lines that err, as a filter of one line spacing leaves them."""

import numpy as np

SPACING = 20.0
#: Strike where the body does not turn [deg].
STRIKE = 37.0


def straight(along, aside):
    """Return corners so far along a strike of `STRIKE` degrees and to its right."""
    turn = np.radians(STRIKE)
    return np.column_stack(
        [
            along * np.sin(turn) + aside * np.cos(turn),
            along * np.cos(turn) - aside * np.sin(turn),
        ]
    )


def bend(at, turn):
    """Return the turn [deg] of a body at distances [line spacings], bent at one place."""
    return lambda line: np.where(line > at, turn, 0.0)


def swing(length, turn, phase):
    """Return the turn [deg] of a body at distances [line spacings], swinging to both sides."""
    return lambda line: turn * np.sin(2.0 * np.pi * line / length + phase)


def crossed(rng, *, lines, turn, error=0.1):
    """Return the corners of a trace half a line spacing apart, and the body's strikes there.

    Each line errs by `error` line spacings for itself; the trace is the mean over its neighbours by
    a Gaussian of one spacing. `turn` gives the body's turn [deg] at distances [line spacings].
    """
    line = np.arange(-8.0, lines + 8.0, 0.125)
    body = 0.125 * np.cumsum(np.tan(np.radians(turn(line))))
    own = np.arange(-8, lines + 8)
    along = np.arange(0.0, lines - 0.9, 0.5)

    def mean(at, values):
        weight = np.exp(-0.5 * (along[:, None] - at) ** 2)
        return (weight @ values) / weight.sum(axis=1)

    aside = mean(line, body) + mean(own, rng.normal(0.0, error, own.size))
    return straight(SPACING * along, SPACING * aside), STRIKE + turn(along), along


def held(found, strikes):
    """Return which 90 % intervals hold the strikes, and how far these are off [deg]."""
    off = np.array([one.strike_deg for one in found]) - strikes
    off = (off + 90.0) % 180.0 - 90.0
    return abs(off) <= 1.645 * np.array([one.sd_deg for one in found]), off
