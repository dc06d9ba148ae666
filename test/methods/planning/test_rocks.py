"""The table of rocks against the published one, and how a rock is looked up."""

import csv
from pathlib import Path

import numpy as np
import pytest

from lodewalk.errors import InputError
from lodewalk.methods.planning.rocks import ROCKS, magnetite_susceptibility, rock_named

PUBLISHED = Path(__file__).parents[2] / "published" / "susceptibility.csv"
with PUBLISHED.open(newline="") as stream:
    ROWS = list(csv.DictReader(stream))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["rock_or_mineral"])
def test_published_ranges(row):
    rock = rock_named(row["rock_or_mineral"])
    assert rock.low == pytest.approx(float(row["k_min_SI"]), rel=1e-12)
    assert rock.high == pytest.approx(float(row["k_max_SI"]), rel=1e-12)
    assert rock.group == row["group"]
    assert "Hunt" in rock.source
    assert rock.status == "read from a scanned copy"


def test_every_other_row_says_that_it_is_from_memory():
    read = {row["rock_or_mineral"] for row in ROWS}
    others = [rock for rock in ROCKS if rock.name not in read]
    assert {rock.status for rock in others} == {"from memory"}
    assert all(rock.source for rock in others)
    wanted = {"magnetite", "pyrrhotite", "hematite", "ilmenite", "titanomagnetite", "ironstone"}
    wanted |= {"banded iron formation", "laterite", "maghemite soil", "fired clay", "steel"}
    assert wanted <= {rock.name for rock in others}


def test_names_are_unique_and_ranges_in_order():
    assert len({rock.name for rock in ROCKS}) == len(ROCKS)
    assert all(rock.low <= rock.typical <= rock.high for rock in ROCKS)


@pytest.mark.parametrize(
    ("name", "typical"),
    [
        ("gabbro", np.sqrt(0.001 * 0.09)),
        ("basalt", np.sqrt(0.00025 * 0.18)),
        ("limestone", np.sqrt(2e-6 * 0.025)),
        ("granite", np.sqrt(0.0005 * 0.05)),  # its range begins at 0
        ("dolomite", np.sqrt(0.0000094 * 0.00094)),  # and this one below
        ("calcite", -2.325e-5),
    ],
)
def test_typical_value(name, typical):
    assert rock_named(name).typical == pytest.approx(typical)


def test_magnetite_rule():
    # 3000e-6 cgs a per cent; 4 pi turns cgs into SI
    assert magnetite_susceptibility(2.0) == pytest.approx(2 * 0.0376991118)


@pytest.mark.parametrize("name", ["Basalt", " basalts ", "BASALT"])
def test_capitals_spaces_and_plural_do_not_count(name):
    assert rock_named(name).name == "basalt"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("bassalt", "Near to it: .*basalt"),
        ("iron", "Near to it: .*ironstone"),
        ("xyz", "The table has: amphibolite.*Or give its susceptibility"),
        ("", "The table has"),
    ],
)
def test_unknown_name(name, text):
    with pytest.raises(InputError, match=text):
        rock_named(name)


def test_share_of_magnetite():
    with pytest.raises(InputError, match="Share of magnetite"):
        magnetite_susceptibility(101.0)
