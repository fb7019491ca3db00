"""Numbers and names read eight letters at a time are those that Python reads one by one."""

from __future__ import annotations

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from drivers.files.plain_cells import PlainText

WRITTEN = st.one_of(
    st.from_regex(r"-?[0-9]{0,12}(\.[0-9]{0,12})?", fullmatch=True),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.text("0123456789.-+e_x/:", max_size=20),
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(WRITTEN, st.booleans()), min_size=1, max_size=12))
@example([("999999999999999", True), ("0.999999999999999", False), ("", True), ("-.5", False)])
def test_a_plain_number_is_the_float_that_python_reads(cells):
    """Outside: Python's own float(), which rounds correctly."""
    lines = [f"{number},{'left' if left else '3'}\n" for number, left in cells]
    (numbers, _) = PlainText("".join(lines).encode()).columns(2)
    values, other = numbers.numbers()
    known = dict(enumerate(values.tolist()))
    for at in other.tolist():
        assert np.isnan(known.pop(at))
        digits = cells[at][0].removeprefix("-").replace(".", "", 1)
        assert not (digits.isdigit() and len(digits) <= 15), "it is plain"
    assert [value.hex() for value in known.values()] == [float(cells[at][0]).hex() for at in known]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.text("ab .", min_size=0, max_size=9), max_size=20), st.integers(1, 20))
def test_the_different_names_in_the_order_they_come(words, most):
    lines = "".join(f"{word},1\n" for word in [*words, "last"]).encode()
    (cells, _) = PlainText(lines).columns(2)
    expected = list(dict.fromkeys([*words, "last"]))
    names, name_of = cells.names(most, letters=9)
    if len(expected) > most:
        assert names == []
    else:
        assert names == [name.encode() for name in expected]
        assert name_of.tolist() == [expected.index(word) for word in [*words, "last"]]
    assert cells.names(most, letters=3)[0] == []


def test_lines_of_another_width_are_no_columns():
    assert PlainText(b"1,a\n2\n3,c,d\n").columns(2) is None
    assert PlainText(b"1,a\n2\n").columns(2) is None
