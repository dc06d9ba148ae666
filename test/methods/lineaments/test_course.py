"""The strike along a trace and its error, on traces drawn from what is assumed of them.

Who draws a body, its errors and what wanders from the very assumptions must find the squares of the
errors as large as they are told, whatever is drawn: that checks every formula without using one.
"""

import numpy as np
import pytest
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


def test_errors_are_as_large_as_they_are_told():
    rng = np.random.default_rng(61_000)
    squares = []
    for _ in range(150):
        aside, strike = drawn(rng)
        found, variance = course(ALONG, aside, AT)
        squares.append((found - strike) ** 2 / variance)
    # each mean over 150 traces; the squares of a mixture have an sd of some 1.7
    assert np.mean(squares, axis=0) == pytest.approx(1.0, abs=0.42)
    assert np.mean(squares) == pytest.approx(1.0, abs=0.25)


def test_a_trace_without_room_for_a_bend_is_told():
    along = np.array([0.0, 0.5, 1.0])
    found, variance = course(along, 0.1 * along, np.array([0.5]))
    assert found == pytest.approx(0.1, abs=1e-3)
    assert np.sqrt(variance) > np.radians(0.5)


def test_what_a_trace_wanders_counts_half():
    """A wave of eighteen line spacings is neither the body's nor the neighbours' for sure."""
    along = np.arange(0.0, 36.1, 0.5)
    wave = 2.0 * np.pi / 18.0
    found, variance = course(along, 0.2 * np.sin(wave * along), np.array([9.0, 18.0, 27.0]))
    slopes = 0.2 * wave * np.array([-1.0, 1.0, -1.0])
    assert found / slopes == pytest.approx(0.5, abs=0.15)
    assert np.sqrt(variance) / np.abs(slopes) == pytest.approx(0.5, abs=0.15)
