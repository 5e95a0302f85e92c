"""Tables and figures: no digit more than the uncertainty supports."""

import pytest

from ground.page.cells import word_table
from ground.page.digits import decimals_of, supported


def cells(columns, *rows):
    made = word_table("A table", {"columns": columns, "rows": list(rows)})
    return [[cell.metric for cell in row] for row in made.rows], made


def test_decimals_of_an_uncertainty():
    # JCGM 100:2008, 7.2.6: two digits are enough; its example in H.1: 50.000 838 mm, uncertainty 0.000 093 mm.
    assert decimals_of(0.000093) == 6
    assert [decimals_of(u) for u in (250.0, 12.0, 3.1, 0.31, 0.031)] == [0, 0, 1, 2, 3]


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (42.0, 3.1, (42.0, 0)), (30_458.0, 618.0, (30_500.0, 0)), (30_462.0, 14.0, (30_462.0, 0)),
        (-71.8, 0.8, (-71.8, 1)),
    ],
)  # fmt: skip
def test_a_figure_has_no_digit_that_is_not_known(value, uncertainty, shown):
    assert supported(value, uncertainty, 1) == shown


def test_a_column_follows_the_uncertainty_beside_it():
    columns = [["speed", "m/s"], ["from", "deg"], ["uncertainty", "m/s"]]
    rows, _ = cells(columns, [1.8234, 160.34, 3.1234], [9.5, 201.0, 2.5])
    assert rows == [["1.8", "160", "3.1"], ["9.5", "201", "2.5"]]
    rows, _ = cells([["temperature", "degC"], ["give or take", "K"]], [-69.1234, 12.0])
    assert rows == [["-69", "12"]]


def test_a_place_is_not_rounded_to_kilometres():
    # A ten-thousandth of a degree of latitude is 11 m (WGS 84: 111.2 km a degree at 47 degrees).
    rows, _ = cells([["latitude", "deg"], ["longitude", "deg"], ["uncertainty", "m"]], [46.849449, 21.260608, 7.4])
    assert rows[0][:2] == ["46.84945", "21.26061"]


def test_what_is_not_known_is_a_dash_in_both_units():
    _, made = cells([["height", "m"], ["word", ""]], [None, "x"], [float("nan"), None], [1000.0, "y"])
    assert [row[0].metric for row in made.rows] == ["\u2013", "\u2013", "1 000"]
    assert made.rows[2][0].imperial == "3 281" and made.heads[0].words.imperial == "height (ft)"  # 1 ft = 0.3048 m
    assert [head.is_word for head in made.heads] == [False, True]
