"""Spans of marked readings and pieces between gaps, on cases small enough to read off."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.spans import marked_spans, piece_bounds


def test_runs_at_both_ends_are_found():
    spans = marked_spans([1, 1, 0, 1, 0, 1], time_s=[0, 1, 2, 3, 4, 9])
    assert spans.first.tolist() == [0, 3, 5]
    assert spans.last.tolist() == [1, 3, 5]
    assert spans.duration_s.tolist() == [1, 0, 0]
    assert len(spans) == 3


@pytest.mark.parametrize("marks", [[], [False, False]])
def test_nothing_marked_gives_no_span(marks):
    assert len(marked_spans(marks, time_s=np.arange(len(marks)))) == 0


def test_lengths_must_agree():
    with pytest.raises(InputError, match="same length"):
        marked_spans([True], time_s=[0.0, 1.0])


def test_an_interval_equal_to_the_limit_is_no_gap():
    assert piece_bounds([0, 5, 11, 12], max_gap_s=5).tolist() == [0, 2, 4]
    assert piece_bounds([], max_gap_s=5).tolist() == [0, 0]
