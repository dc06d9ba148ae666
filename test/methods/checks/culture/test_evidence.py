"""Bayes' rule by hand."""

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.checks.culture import Notes
from lodewalk.methods.checks.culture.evidence import course_probability, note_words, with_note


def test_odds_by_hand():
    # Odds 0.25 to 0.75 are 1 : 3; ten times that is 10 : 3.
    assert with_note([0.25, 0.25, 0.0, 1.0], [True, False, True, True]).tolist() == (
        pytest.approx([10 / 13, 0.25, 0.0, 1.0])
    )
    # 0.3 : 1, then 3 : 1, then 30 : 1.
    assert course_probability([0.5, 0.89]) == pytest.approx(0.3 / 1.3)
    assert course_probability([0.5, 0.9]) == pytest.approx(3 / 4)
    assert course_probability([0.95, 0.9, 0.0]) == pytest.approx(30 / 31)
    assert course_probability([]) == pytest.approx(0.3 / 1.3)


def test_a_note_speaks_near_in_place_or_time_and_for_its_causes_only():
    notes = Notes(["pipe", "fence"], [0.0, 10.0], [0.0, np.nan], [np.nan, 1000.0])
    given = ([14.0, 16.0, 500.0, 500.0], [0.0] * 4, [0.0, 0.0, 1029.0, 1031.0])
    assert note_words("surface iron", *given, notes).tolist() == ["pipe", "", "fence", ""]
    assert note_words("dropout", *given, notes).tolist() == [""] * 4
    assert note_words("compact source", *given, notes).tolist() == ["pipe", "", "", ""]
    assert note_words("surface iron", *given, None).tolist() == [""] * 4
    assert note_words("surface iron", [], [], [], notes).size == 0
    with pytest.raises(InputError, match="radius_m"):
        note_words("surface iron", *given, notes, radius_m=0)
