import pytest

from lodewalk.formats.content import Content
from lodewalk.formats.delimited import ColumnMap, read


@pytest.fixture
def reading(tmp_path):
    """Return a function that writes text or bytes to a file and reads it with a column map."""

    def function(raw, settings, *, role="rover") -> Content:
        path = tmp_path / "day1.csv"
        path.write_bytes(raw if isinstance(raw, bytes) else raw.encode())
        return read(path, role=role, column_map=ColumnMap.from_dict(settings))

    return function
