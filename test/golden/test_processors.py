"""Another processor rounds the last bits otherwise, and no number may depend on them."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from test_golden import KNOWN, differences

from processors import as_processor, can_pass_for

PROGRAM = "import json, golden_numbers; print(json.dumps(golden_numbers.numbers()))"


@pytest.mark.parametrize("processor", ["no AVX"])
def test_another_processor_comes_to_the_same_numbers(processor, tmp_path):
    if not can_pass_for(processor):
        pytest.skip("this machine can't pass for such a processor")
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        cwd=Path(__file__).parent,
        env=as_processor(processor, tmp_path),
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout)
    moved = list(differences(KNOWN, found))
    assert not moved, moved[:5]
    assert found != KNOWN, "equal to the last bit: it didn't compute as another processor"
