"""Numbers may move only together with the version of the step that makes them."""

import json
import math
from pathlib import Path

import golden_numbers
import pytest

from lodewalk.steps.declarations import STEPS

KNOWN = json.loads((Path(__file__).parent / "small.json").read_text())


@pytest.fixture(scope="module")
def now():
    return golden_numbers.numbers()


def differences(known, found, place=""):
    """Yield where two trees differ by more than rounding."""
    if isinstance(known, dict) and isinstance(found, dict):
        for key in known.keys() | found.keys():
            yield from differences(known.get(key), found.get(key), f"{place}.{key}")
    elif isinstance(known, list) and isinstance(found, list) and len(known) == len(found):
        for number, pair in enumerate(zip(known, found, strict=True)):
            yield from differences(*pair, f"{place}[{number}]")
    elif isinstance(known, float) and isinstance(found, float):
        if not math.isclose(known, found, rel_tol=1e-9, abs_tol=1e-6):
            yield f"{place}: {known} became {found}"
    elif known != found:
        yield f"{place}: {known} became {found}"


@pytest.mark.parametrize("step", [step.name for step in STEPS if not step.role])
def test_numbers_move_only_with_the_version(now, step):
    assert now[step]["version"] == KNOWN[step]["version"], (
        "the version changed: write the numbers again with python test/golden/golden_numbers.py"
    )
    moved = list(differences(KNOWN[step]["products"], now[step]["products"]))
    assert not moved, f"numbers moved, but the version of step {step} did not: {moved[:5]}"


def test_a_moved_number_is_noticed():
    assert list(differences({"a": [1.0, 2.0]}, {"a": [1.0, 2.001]}))
    assert not list(differences({"a": [1.0, 2.0]}, {"a": [1.0, 2.0 + 1e-12]}))
