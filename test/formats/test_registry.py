import os

import pytest

from lodewalk.errors import InputError
from lodewalk.formats.registry import recognise
from lodewalk.formats.scan import check_size

UNKNOWN = [b"caf\x81\xff,1\n", b"<html><body>\n<p>Not found</p>\n</html>\n", b"time,field\n"]


@pytest.fixture
def recognised(tmp_path):
    def function(content, role, *, name="raw.csv"):
        path = tmp_path / name
        path.write_bytes(content)
        return recognise(path, role=role).name

    return function


@pytest.mark.parametrize("content", UNKNOWN)
@pytest.mark.parametrize(
    ("role", "name"),
    [("base", "delimited"), ("rover", "delimited"), ("track", "delimited"),
     ("notes", "delimited"), ("plan", "gpx"), ("observatory", "iaga2002")],
)  # fmt: skip
def test_a_file_like_no_format_is_left_to_one_that_serves_its_role(content, role, name, recognised):
    assert recognised(content, role) == name


def test_a_sure_format_that_does_not_serve_is_refused(recognised):
    content = b'<?xml version="1.0"?>\n<gpx version="1.1" creator="test">\n'
    with pytest.raises(InputError, match=r"role rover can't be GPX 1\.1"):
        recognised(content, "rover")


def test_a_name_that_is_not_utf_8_is_refused(recognised, tmp_path):
    name = os.fsdecode(b"m\xe4rz.csv")
    with pytest.raises(InputError, match="must be UTF-8") as caught:
        recognised(b"time,field\n", "base", name=name)
    assert str(caught.value).isascii()
    with pytest.raises(InputError, match="must be UTF-8"):
        check_size(tmp_path / name)
