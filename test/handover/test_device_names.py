"""Names for the handheld: rules that no name may break."""

import re
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lodewalk.errors import InputError
from lodewalk.handover.device_names import device_names

WORDS = st.lists(st.text(max_size=30), max_size=40)


@given(WORDS, st.integers(4, 30))
def test_names_fit_are_plain_and_are_never_alike(wanted, length):
    names = device_names(wanted, length=length)
    assert len(names) == len(wanted)
    assert len(set(names)) == len(names)
    for name in names:
        assert re.fullmatch(r"[A-Z0-9](?:[A-Z0-9-]*[A-Z0-9])?", name)
        assert len(name) <= length


@given(st.lists(st.text(string.ascii_uppercase + string.digits, min_size=1, max_size=8),
                unique=True, max_size=30))  # fmt: skip
def test_names_that_fit_stay(wanted):
    assert list(device_names(wanted, length=8)) == wanted


def test_a_name_that_fits_is_not_taken_by_one_that_was_cut():
    assert device_names(["L0120-300", "L120-300"], length=8)[1] == "L120-300"


@pytest.mark.parametrize(
    ("wanted", "length", "name"),
    [
        ("L0120-0300", 10, "L0120-0300"),
        ("l002b-3", 10, "L002B-3"),
        ("T0020-2-1250", 10, "T20-2-1250"),
        ("Serra das Araras 7", 10, "SR-DS-ARR7"),
        ("Ørsted pond", 12, "ORSTED-POND"),
        ("Straße", 10, "STRASSE"),
        ("山", 10, "P"),
    ],
)
def test_shortened_names_keep_their_figures(wanted, length, name):
    assert device_names([wanted], length=length) == (name,)


def test_thousands_of_stations_of_one_length_stay_apart():
    wanted = [
        f"L{line:04d}-{station:04d}" for line in range(300) for station in range(0, 2000, 100)
    ]
    names = device_names(wanted, length=6)
    assert len(set(names)) == len(wanted) == 6000
    assert max(map(len, names)) <= 6


def test_more_points_than_names_are_refused():
    with pytest.raises(InputError, match="more waypoints than names"):
        device_names(["A"] * 10_002, length=4)
    with pytest.raises(InputError, match="at least 4"):
        device_names(["A"], length=3)
