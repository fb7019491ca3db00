"""The gap table: what is read, and the sentence each wrong one gets."""

import numpy as np
import pytest

from workbench.base.errors import WrongInput
from workbench.calibration.gap.table import parse_gap_table, write_gap_table

HEADER = "pickup,angle_deg,gap_m\n"


def test_readings_are_gathered_by_pickup_in_order() -> None:
    left, right = parse_gap_table(HEADER + "left,0,0.0016\nright,0,0.002\n\nleft,90,0.0017\n")
    assert (left.pickup, right.pickup) == ("left", "right")
    np.testing.assert_array_equal(left.angle_deg, [0, 90])
    np.testing.assert_array_equal(left.gap_m, [0.0016, 0.0017])
    np.testing.assert_array_equal(left.line, [2, 5])


def test_columns_may_stand_in_any_order_beside_others_and_names_may_be_quoted() -> None:
    text = '\ufeffgap_m, pickup ,who,angle_deg\r\n0.0016,"Digger 4, left",me,90\r\n'
    (only,) = parse_gap_table(text)
    assert only.pickup == "Digger 4, left"
    assert only.angle_deg[0] == 90


def test_a_written_table_reads_back() -> None:
    pickups = parse_gap_table(HEADER + '"a, ""b""",-1e2,0.0015875\nc,12.5,0.01\n')
    again = parse_gap_table(write_gap_table(pickups))
    assert [one.pickup for one in again] == ['a, "b"', "c"]
    np.testing.assert_array_equal(again[0].gap_m, pickups[0].gap_m)
    np.testing.assert_array_equal(again[1].angle_deg, pickups[1].angle_deg)


def test_semicolons_with_decimal_commas_and_remarks_are_read_too() -> None:
    text = "# in the shop\npickup;angle_deg;gap_m\nleft;0;0,0016\nleft;22,5;0,0017\n"
    (left,) = parse_gap_table(text)
    np.testing.assert_array_equal(left.angle_deg, [0, 22.5])
    np.testing.assert_array_equal(left.gap_m, [0.0016, 0.0017])
    np.testing.assert_array_equal(left.line, [3, 4])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "shop.csv: it is empty; expected a table with the header pickup,angle_deg,gap_m"),
        (HEADER, "shop.csv: there are no readings"),
        ("pickup,angle,gap_m\nleft,0,0.0016\n", "line 1: no column 'angle_deg' in"),
        ("pickup,angle_deg,gap_m,gap_m\n", "line 1: a column stands twice"),
        (HEADER + "left,0\n", "line 2: nothing in column 'gap_m'"),
        (HEADER + "left,0,0.0016\nleft,,0.0016\n", "line 3: nothing in column 'angle_deg'"),
        (HEADER + "left,north,0.0016\n", "line 2: 'north' in column 'angle_deg'"),
        (HEADER + "left,3600,0.0016\n", "line 2: an angle of 3600°; expected 0 to 360°"),
        (
            HEADER + "left,0,nan\n",
            "line 2: 'nan' in column 'gap_m'; expected metres, such as 0.0016",
        ),
        (HEADER + "left,0,inf\n", "line 2: 'inf' in column 'gap_m'"),
        (HEADER + "left,0,1_6\n", "line 2: '1_6' in column 'gap_m'"),
        (
            HEADER + "left,0,1/16\n",
            "line 2: '1/16' in column 'gap_m'; expected metres, here 0.00158",
        ),
        (HEADER + "left,0,1.6 mm\n", "'1.6 mm' in column 'gap_m'; expected metres, here 0.0016"),
        (HEADER + "left,0,-0.001\n", "line 2: a gap of −0.001 m is below 0"),
        (HEADER + "left,0,0.062\n", "line 2: a gap of 0.062 m.*looks like inches.*0.001575 m"),
        (HEADER + "left,0,1.6\n", "line 2: a gap of 1.6 m.*looks like millimetres.*0.0016 m"),
        (HEADER + "left,0,62\n", "a gap of 62 m.*looks like thousandths of an inch"),
        (HEADER + "left,0,5000\n", "looks like no gap in any unit"),
        (HEADER + ",0,0.0016\n", "line 2: '' names no pickup"),
        ("gap_m,angle_deg,pickup\n0.0016,0\n", "line 2: '' names no pickup"),
        (HEADER + "le\x07ft,0,0.0016\n", "line 2: 'le·ft' names no pickup"),
        (HEADER + 'left,0,"0.0016\n', "line 2: it is no line of a table with the header"),
        (HEADER + "left,0,0,0016\n", "line 2: it is no line of a table with the header"),
    ],
)
def test_a_wrong_table_gets_a_sentence_with_its_line(text: str, says: str) -> None:
    with pytest.raises(WrongInput, match=says):
        parse_gap_table(text, "shop.csv")
