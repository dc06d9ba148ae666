"""Atomic writes: the old file or the new one, never half of one."""

import pytest

from lodewalk.survey.files import remove_parts, write_json, write_text, write_with


def test_new_content_replaces_old(tmp_path):
    path = tmp_path / "a.txt"
    write_text(path, "old")
    write_text(path, "new")
    assert path.read_text() == "new"
    assert list(tmp_path.iterdir()) == [path]


def write_half(part):
    part.write_text("half")
    raise ZeroDivisionError


def test_an_error_leaves_the_old_file_and_no_part(tmp_path):
    path = tmp_path / "a.txt"
    write_text(path, "old")
    with pytest.raises(ZeroDivisionError):
        write_with(path, write_half)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_json_refuses_a_number_that_is_not_finite(tmp_path):
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json(tmp_path / "a.json", {"value": float("nan")})
    assert not list(tmp_path.iterdir())


def test_parts_of_a_killed_run_are_removed(tmp_path):
    left = tmp_path / ".a.txt.123.lodewalk-part"
    left.write_text("half")
    (tmp_path / ".folder.lodewalk-part").mkdir()
    remove_parts(tmp_path)
    assert not left.exists()
    assert (tmp_path / ".folder.lodewalk-part").is_dir()
