"""The strike along a trace and its error, on traces drawn from what is assumed of them.

Who draws a body, its errors and what wanders from the very assumptions must find the squares of the
errors as large as they are told, whatever is drawn: that checks every formula without using one.
"""

import numpy as np
import pytest

from drawn_courses import squares
from lodewalk.methods.lineaments.course import course


def test_errors_are_as_large_as_they_are_told():
    """So few traces let a variance a fifth too small pass; `bench/evidence_strike.py` draws more.

    The squares of a mixture have an sd of some 1.7, and each mean is one over 150 traces.
    """
    found = squares(61_000, 150)
    assert found.mean(axis=0) == pytest.approx(1.0, abs=0.42)
    assert found.mean() == pytest.approx(1.0, abs=0.25)


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
