"""Whatever happens to the bytes of a file, adding it ends well or in one clear line."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from cli.conftest import tree
from cli.samples import SOUND
from lodewalk.cli.main import app
from lodewalk.errors import LodewalkError
from small_survey import CRS

PIECES = [
    b",", b";", b"\t", b"\n", b"\r\n", b"-", b".", b" ", b"\x00", b"\xff", b"\xc3\xa9", b"\x1a",
    b"<", b"&", b">", b"NaN", b"inf", b"1e999", b"99999", b"\xef\xbb\xbf", b"0x10", b"2016-12-31",
]  # fmt: skip
CODES = ["utf-16", "utf-16-le", "utf-8-sig", "utf-32", "cp037"]


@st.composite
def mutants(draw, text):
    """Draw a file with a few things done to it."""
    content = text.encode()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(content)))
        to = min(len(content), at + draw(st.sampled_from([1, 5, 60, 10_000])))
        content = draw(
            st.sampled_from(
                [
                    content[:at] + draw(st.sampled_from(PIECES)) + content[at:],
                    content[:at] + content[to:],
                    content[:at],
                    content[at:],
                    content[:at] + content[at:to] * 3 + content[to:],
                    content[:at] + bytes([draw(st.integers(0, 255))]) + content[at + 1 :],
                    content.decode("utf-8", "replace").encode(
                        draw(st.sampled_from(CODES)), "replace"
                    ),
                ]
            )
        )
    return content


@pytest.mark.parametrize("kind", SOUND)
def test_a_mutant_is_read_or_refused(kind, tmp_path):
    name, role, text = SOUND[kind]
    survey = tmp_path / "survey"
    made = CliRunner().invoke(app, ["new", str(survey), "--name", "M", "--crs", CRS])
    assert made.exit_code == 0
    before = tree(survey)

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(mutants(text))
    def try_one(content):
        with TemporaryDirectory() as scratch:
            path = Path(scratch, name)
            path.write_bytes(content)
            shown = CliRunner().invoke(app, ["add", str(survey), str(path), "--role", role])
        if shown.exit_code == 0:
            for kept in (survey / "raw").iterdir():
                kept.unlink()
        else:
            assert isinstance(shown.exception, LodewalkError)
            assert "\n" not in str(shown.exception)
            assert shown.output == ""
        assert tree(survey) == before

    try_one()
