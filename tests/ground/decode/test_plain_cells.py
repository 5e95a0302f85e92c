"""Tables read back by array arithmetic, against Python's own csv reader, float and numpy.datetime64."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ground.decode.plain_cells import plain_cells
from ground.decode.read_tables import read_table
from ground.errors import LoftbookError

numeral = st.one_of(
    st.just(""), st.from_regex(r"-?[0-9]{1,12}(\.[0-9]{0,6})?", fullmatch=True), st.text("0459.-e+", max_size=6)
)


@settings(max_examples=40)
@given(st.lists(st.tuples(numeral, numeral), min_size=1, max_size=20))
def test_numbers_are_those_of_pythons_float(rows):
    text = "one,two\n" + "".join(f"{one},{two}\n" for one, two in rows)
    cells = plain_cells(text.encode())
    both = zip(cells.texts(0), cells.texts(1), strict=True)
    assert [cells.header, *map(list, both)] == list(csv.reader(io.StringIO(text)))
    for column in (0, 1):
        found = cells.numbers(column)
        try:
            expected = [float(row[column]) if row[column] else np.nan for row in rows]
        except ValueError:
            assert found is None
            continue
        if found is not None:  # else it is left to float, such as 1e5
            assert found[0].tobytes() == np.array(expected).tobytes() or np.isnan(expected).any()
            np.testing.assert_array_equal(found[0], expected)
            assert found[1] == len(next((row[column] for row in rows if row[column]), "").partition(".")[2])


@pytest.mark.parametrize("number", ["-0.00", "0.1", "9007199254.40993", "123456789012345", "-273.15", "7.", ".5"])
def test_rounding_is_that_of_float(number):
    found, _ = plain_cells(f"a,b\n1,{number}\n".encode()).numbers(1)
    assert np.array(float(number)).tobytes() == found.tobytes()


def test_times_are_those_of_numpy():
    # ISO 8601; 2024 is a leap year.
    cells = plain_cells(b"utc,a\n2024-02-29T23:59:59.999Z,1\n,2\n1970-01-01T00:00:00.000Z,3\n")
    assert cells.times(0).tolist()[::2] == [
        np.datetime64("2024-02-29T23:59:59.999").item(), np.datetime64("1970-01-01T00:00:00.000").item(),
    ]  # fmt: skip
    assert np.isnat(cells.times(0)[1])
    assert plain_cells(b"utc,a\n2024-02-30T00:00:00.000Z,1\n").times(0) is None


@pytest.mark.parametrize(
    "text",
    ['a,b\n1,"2"\n', "a,b\r\n1,2\r\n", "a,b\n1\n", "a,b\n1,2,3\n4\n", "a,b\n1,2", "a,b\n\n1,2\n", "a\n1\n", ""],
)
def test_what_is_not_plain_is_left_to_the_csv_reader(text):
    assert plain_cells(text.encode()) is None


HEADING = "utc,boot,tick_ms,message,height_m,evidence\n"
ROW = "2026-07-14T10:42:13.125Z,1,20,hop,1.5,proven\n"


def test_both_ways_give_the_same_table(tmp_path):
    plain, quoted = tmp_path / "event.csv", tmp_path / "quoted" / "event.csv"
    quoted.parent.mkdir()
    plain.write_text(HEADING + ROW + ROW.replace("1.5", "") + ROW.replace("hop", "ő"), "utf-8")
    quoted.write_text(plain.read_text("utf-8").replace("proven", '"proven"'), "utf-8-sig")
    one, two = read_table(plain), read_table(quoted)
    assert one.decimals == two.decimals and list(one.columns) == list(two.columns)
    for name, values in one.columns.items():
        assert values.dtype == two.columns[name].dtype
        np.testing.assert_array_equal(values, two.columns[name])


@pytest.mark.parametrize(
    "text, said",
    [
        (HEADING + ROW + ROW.replace(",hop", ""), "line 3: has 5 cells, the heading 6"),
        (HEADING + ROW + ROW.replace(",1,", ",1.5,"), "column boot: invalid literal"),
        (HEADING + ROW.replace(",20,", ",,"), "column tick_ms: invalid literal"),
        (HEADING + ROW.replace("T10:42", " at 10:42"), "column utc: "),
        (HEADING.replace("message", "boot") + ROW, "line 1: a column name stands there twice"),
        ("", "line 1: column utc is missing"),
    ],
)
def test_a_spoilt_table_is_refused_with_its_place(tmp_path, text, said):
    path = tmp_path / "event.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(LoftbookError) as caught:
        read_table(path)
    assert said in str(caught.value) and "\n" not in str(caught.value)
