import hashlib

import pytest

from lodewalk.errors import InputError
from lodewalk.formats import scan
from lodewalk.formats.scan import check_size, hash_and_scan


@pytest.fixture
def file(tmp_path):
    def function(data):
        path = tmp_path / "raw.csv"
        path.write_bytes(data)
        return path

    return function


@pytest.mark.parametrize(
    "data",
    [b"", b"a", b"a,b\n", b"a,b\r\nc,d", b"\xff\xfea\x00", b'"a"\n' * 100_000, b"\n" * 300_001],
)
def test_counts_are_those_of_python(file, data):
    found = hash_and_scan(file(data), count=b",")
    assert found.sha256 == hashlib.sha256(data).hexdigest()
    assert found.newlines == data.count(b"\n")
    assert found.lines == len(data.split(b"\n")) - (data.endswith(b"\n") or not data)
    assert found.counted == data.count(b",")
    assert found.size == len(data)
    assert found.ascii_only is data.isascii()
    assert found.has_nul is (b"\0" in data)
    assert found.has_quote is (b'"' in data)
    assert found.lines_ok


def test_a_known_hash(file):
    # FIPS 180-2, appendix B.1: the message "abc"
    assert hash_and_scan(file(b"abc")).sha256 == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
@pytest.mark.parametrize("before", [0, 1, 40_000, 200_000])
@pytest.mark.parametrize(
    ("length", "good"), [(65_535, True), (65_536, True), (65_537, False), (400_000, False)]
)
def test_the_longest_line_that_is_accepted(file, end, before, length, good):
    short = (b"x" * 99 + end) * (before // 100)
    if end == b"\r\n":
        length -= 1  # the carriage return is a byte of its line
    path = file(short + b"y" * length + end + short)
    assert hash_and_scan(path).lines_ok is good
    if good:
        check_size(path)
    else:
        with pytest.raises(
            InputError, match=rf"raw\.csv, line {before // 100 + 1}: A line may hold at most 65,536"
        ):
            check_size(path)


def test_a_long_line_without_an_end(file):
    with pytest.raises(InputError, match="line 3: A line may hold"):
        check_size(file(b"a\nb\n" + b"y" * 70_000))


def test_a_file_that_is_too_large(file, monkeypatch):
    monkeypatch.setattr(scan, "MAX_FILE_BYTES", 10)
    with pytest.raises(InputError, match=r"at most 2 GiB\. Found '11 bytes'\. Split it"):
        check_size(file(b"x" * 11))
