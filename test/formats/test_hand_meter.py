"""Hand-meter tables: units, decimal signs, and what is refused."""

import pytest

from lodewalk.errors import InputError
from lodewalk.formats import hand_meter
from lodewalk.records.recorded import HandMeter

TABLE = """\
# readings of the creek
rock,place,part,k_1e-3_SI,n,sd
dolerite,creek,target,35.1,10,4.2
"shale, grey",road cut,host,0.31,5,

laterite,,Soil,4.0,,
"""


@pytest.fixture
def reading(tmp_path):
    def read(text, role="hand_meter"):
        path = tmp_path / "k.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return hand_meter.read(path, role=role, column_map=None)

    return read


def test_a_table(reading):
    content = reading(TABLE)
    assert isinstance(content.table, HandMeter)
    frame = content.table.frame
    assert frame["line_in_file"].to_list() == [3, 4, 6]
    assert frame["part"].to_list() == ["target", "host", "soil"]
    assert frame["rock"].to_list() == ["dolerite", "shale, grey", "laterite"]
    assert frame["place"].to_list() == ["creek", "road cut", None]
    assert frame["susceptibility"].to_list() == pytest.approx([0.0351, 0.00031, 0.004])
    assert frame["readings"].to_list() == [10, 5, 1]
    assert frame["sd"].to_list() == [pytest.approx(0.0042), None, None]
    assert content.understood == (
        "Hand-meter table: 3 rows (1 of target, 1 of host, 1 of soil); k_1e-3_SI, kept as SI.",
    )


@pytest.mark.parametrize(
    ("title", "factor"),
    [
        ("k_SI", 1.0), ("k_1e-3_SI", 1e-3), ("K_1E-5_SI", 1e-5), ("k_1e-6_SI", 1e-6),
        ("k (1e-3 SI)", 1e-3), ("k [10^-5 SI]", 1e-5), ('"k_SI"', 1.0),
    ],
)  # fmt: skip
def test_units_of_the_header(title, factor, reading):
    frame = reading(f"part,{title}\ntarget,3.5\n").table.frame
    assert frame["susceptibility"].to_list() == pytest.approx([3.5 * factor])


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters(delimiter, reading):
    text = "rock,place,part,k_SI,n\na,b,target,0.5,3\n".replace(",", delimiter)
    assert reading(text).table.frame["readings"].to_list() == [3]


def test_a_decimal_comma_beside_semicolons(reading):
    frame = reading("part;k_1e-3_SI;sd\nhost;0,31;0,05\n").table.frame
    assert frame["susceptibility"].to_list() == pytest.approx([0.00031])
    assert frame["sd"].to_list() == pytest.approx([0.00005])


def test_the_scatter_may_have_a_unit_of_its_own(reading):
    frame = reading("part,k_SI,sd_1e-3_SI\nhost,0.02,4\n").table.frame
    assert frame["sd"].to_list() == pytest.approx([0.004])


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding, reading):
    text = "rock,part,k_SI\nañorthosite,host,0.001\n"
    assert reading(text.encode(encoding)).table.frame["rock"].to_list() == ["añorthosite"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (TABLE.replace("k_1e-3_SI", "k"), "line 2: The header must tell the unit.*Found 'k'. Call"
         " the column k_SI, k_1e-3_SI, k_1e-5_SI or k_1e-6_SI, as the meter shows it"),
        (TABLE.replace("k_1e-3_SI", "k_cgs"), "line 2: The header must tell the unit.*'k_cgs'"),
        (TABLE.replace("k_1e-3_SI", "chi"), "line 2: .*must name a column k with its unit"),
        (TABLE.replace("part", "area"), "line 2: .*must name a column part.*target is the rock"),
        (TABLE.replace("place", "k_SI"), "line 2: The header names k twice"),
        (TABLE.replace("target", "dyke"), "line 3: The part must be one of target, host, soil"),
        (TABLE.replace("35.1", "high"), "line 3: k must be a number. Found 'high'"),
        (TABLE.replace("35.1", "1_0"), "line 3: k must be a number"),
        (TABLE.replace("35.1", ""), "line 3: k must be a number. Found ''"),
        (TABLE.replace("35.1", "35,1"), "line 3: .* 6 fields, .* Found '7 fields'. Was a decimal"),
        (TABLE.replace("35.1", "35100"), "line 3: A susceptibility must lie .*unit in the header"),
        (TABLE.replace("35.1", "-35.1"), "line 3: A susceptibility must lie in -0.001 to 20 SI"),
        (TABLE.replace("10,4.2", "0,4.2"), "line 3: n must be a whole number"),
        (TABLE.replace("10,4.2", "2.5,4.2"), "line 3: n must be a whole number"),
        (TABLE.replace("4.2", "-4.2"), "line 3: sd must not be negative"),
        ("part,k_SI\n", "line 1: The table holds no rows"),
        ('part,k_SI\n"host,0.1\n', "must be a table"),
        (b"part,k_SI\nhost,\x00\n", "line 2: The file is not plain text"),
        ("\n# nothing\n", "The file is empty"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(text, message, reading):
    with pytest.raises(InputError, match=message):
        reading(text)


def test_another_role_is_refused(reading):
    with pytest.raises(InputError, match=r"serves as hand_meter. Found 'rover'"):
        reading(TABLE, "rover")


def test_recognises_the_header():
    assert hand_meter.recognise(TABLE.encode()) == 0.9
    assert hand_meter.recognise(b"part;k\nhost;1\n") == 0.9
    assert hand_meter.recognise(b"time,field\n08:00:00,22950.1\n") == 0.0
    assert hand_meter.recognise(b"") == 0.0
