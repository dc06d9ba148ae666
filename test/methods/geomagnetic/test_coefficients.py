"""Gauss coefficients of IGRF-14 against the published file and an independent carrier of it."""

from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.geomagnetic import (
    GaussCoefficients,
    _igrf14,
    igrf_coefficient_change,
    igrf_coefficients,
)

PUBLISHED = Path(__file__).parents[2] / "published"


def carried_by_ppigrf():
    """Epochs, and {(n, m): values}, m < 0 for h, of the .shc file that ppigrf carries."""
    pytest.importorskip("ppigrf")
    text = (resources.files("ppigrf") / "IGRF14.shc").read_text()
    rows = [line.split() for line in text.splitlines() if not line.startswith("#")][1:]
    epochs = [float(word) for word in rows[0]]
    return epochs, {(int(r[0]), int(r[1])): [float(w) for w in r[2:]] for r in rows[1:]}


def test_carried_table_is_the_published_file():
    assert (PUBLISHED / "igrf14coeffs.txt").read_text() == _igrf14.TABLE


def test_all_sets_equal_those_of_an_independent_carrier():
    epochs, terms = carried_by_ppigrf()
    assert len(terms) == 195
    assert epochs == [1900.0 + 5 * i for i in range(27)]
    for i, epoch in enumerate(epochs):
        ours = igrf_coefficients(epoch)
        g, h = (np.pad(a, (0, 13 - ours.degree)) for a in (ours.g, ours.h))
        for (n, m), values in terms.items():
            found = g[n, m] if m >= 0 else h[n, -m]
            assert found == pytest.approx(values[i], abs=1e-9), (epoch, n, m)


# igrf14coeffs.txt, IAGA V-MOD, doi 10.5281/zenodo.14012302: first lines.
@pytest.mark.parametrize(
    ("year", "g10", "g11", "h11"),
    [
        (2020.0, -29403.41, -1451.37, 4653.35),
        (2025.0, -29350.0, -1410.3, 4545.5),
        (2030.0, -29287.0, -1360.3, 4438.0),
        (2022.5, (-29403.41 - 29350.0) / 2, (-1451.37 - 1410.3) / 2, (4653.35 + 4545.5) / 2),
        (2026.0, -29350.0 + 12.6, -1410.3 + 10.0, 4545.5 - 21.5),
    ],
)
def test_degree_one(year, g10, g11, h11):
    found = igrf_coefficients(year)
    assert [found.g[1, 0], found.g[1, 1], found.h[1, 1]] == pytest.approx([g10, g11, h11], abs=1e-9)


@pytest.mark.parametrize(
    ("year", "degree"), [(1900.0, 10), (1995.0, 10), (1995.1, 13), (2000.0, 13), (2030.0, 13)]
)
def test_degree_that_each_epoch_needs(year, degree):
    assert igrf_coefficients(year).degree == degree


@pytest.mark.parametrize("year", [2025.0, 2027.5, 2030.0])
def test_predicted_change_is_the_published_one(year):
    change = igrf_coefficient_change(year)
    assert change.degree == 8
    assert [change.g[1, 0], change.g[1, 1], change.h[1, 1]] == pytest.approx(
        [12.6, 10.0, -21.5], abs=1e-9
    )


def test_change_between_two_sets():
    assert igrf_coefficient_change(2020.0).g[1, 0] == pytest.approx((-29350.0 + 29403.41) / 5)
    assert igrf_coefficient_change(2024.9).g[1, 0] == pytest.approx((-29350.0 + 29403.41) / 5)


def test_coefficients_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        igrf_coefficients(2025.0).g[1, 0] = 0.0


@pytest.mark.parametrize("year", [1899.99, 2030.01, -np.inf])
@pytest.mark.parametrize("function", [igrf_coefficients, igrf_coefficient_change])
def test_epoch_outside_the_model(function, year):
    with pytest.raises(InputError, match=r"decimal_year must lie in 1900 to 2030 \(IGRF-14\)"):
        function(year)


def test_missing_epoch():
    with pytest.raises(InputError, match="decimal_year must be a number"):
        igrf_coefficients(np.nan)


@pytest.mark.parametrize(
    ("g", "h"),
    [
        (np.zeros((2, 3)), np.zeros((2, 3))),
        (np.zeros((2, 2)), np.zeros((3, 3))),
        (np.zeros(4), np.zeros(4)),
    ],
)
def test_coefficients_of_the_wrong_shape(g, h):
    with pytest.raises(InputError, match="two square arrays alike"):
        GaussCoefficients(g, h)


def test_coefficients_that_are_not_finite():
    with pytest.raises(InputError, match="must be finite"):
        GaussCoefficients(np.full((2, 2), np.nan), np.zeros((2, 2)))
