"""Bodies, and traces of them, drawn from the very assumptions by which a course is told."""

import numpy as np
from scipy.special import ndtr

from lodewalk.methods.lineaments.course import (
    ARC_DEG,
    BEND_DEG,
    ERRORS,
    LENGTHS,
    OWN,
    SIZES,
    STEADY,
    course,
)

ALONG = np.arange(0.0, 15.1, 0.5)
AT = np.array([-1.5, 3.0, 7.5, 10.0, 16.0])
WAVES = 300


def wandering(rng, length):
    """Return a smooth random function of size one and its slope: a sum of many waves."""
    wave = rng.normal(0.0, 1.0 / (np.sqrt(2.0) * length), WAVES)
    phase, size = rng.uniform(0.0, 2.0 * np.pi, WAVES), np.sqrt(2.0 / WAVES)

    def value(x):
        return size * np.cos(np.multiply.outer(x, wave) + phase).sum(axis=-1)

    def slope(x):
        return -size * (wave * np.sin(np.multiply.outer(x, wave) + phase)).sum(axis=-1)

    return value, slope


def body(rng):
    """Return how far a body lies aside, as a filter of one spacing shows it, and its strike."""
    first, shape = rng.normal(0.0, 0.1), rng.integers(3)
    if shape == 0:
        return first * ALONG, np.full(AT.size, first)
    if shape == 1:
        rate = np.radians(ARC_DEG) * rng.normal()
        return first * ALONG + rate * ALONG**2 / 2.0, first + rate * AT
    bend, turn = rng.choice(ALONG[2:-2]), np.radians(BEND_DEG) * rng.normal()
    # the mean of a line with a bend over a Gaussian, by parts
    beyond = np.arange(-40.0, 40.0, 0.01)
    seen = np.interp(ALONG - bend, beyond, 0.01 * np.cumsum(ndtr(beyond)))
    return first * ALONG + turn * seen, first + turn * (bend < AT)


def drawn(rng):
    """Return places aside of a trace, and the strikes of its body where they are asked."""
    aside, strike = body(rng)
    error = rng.choice(ERRORS)
    aside = aside + error * wandering(rng, 1.0)[0](ALONG)
    aside += error * np.sqrt(OWN) * rng.normal(size=ALONG.size)
    if rng.random() > STEADY:
        size = error * rng.choice(SIZES)
        value, slope = wandering(rng, rng.choice(LENGTHS))
        aside = aside + size * value(ALONG)
        strike = strike + (size * slope(AT) if rng.random() < 0.5 else 0.0)
    return aside, strike


def squares(seed, traces):
    """Return squares of the errors over the variance that is told, trace by trace and place."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(traces):
        aside, strike = drawn(rng)
        turn, variance = course(ALONG, aside, AT)
        found.append((turn - strike) ** 2 / variance)
    return np.array(found)
