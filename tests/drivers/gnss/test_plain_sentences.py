"""A plain sentence is read as pynmeagps reads it, field by field."""

from __future__ import annotations

import functools
import operator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pynmeagps import NMEAReader

from drivers.gnss.plain_sentences import PLAIN, plain_sentence
from drivers.timeline import Timeline


@pytest.mark.parametrize("kind", list(PLAIN))
def test_the_same_in_every_field(kind):
    """Outside: the library pynmeagps on the same sentence."""

    @settings(max_examples=300, deadline=None)
    @given(st.from_regex(PLAIN[kind], fullmatch=True))
    def same(fields):
        body = f"GN{kind},{fields}"
        sentence = f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n".encode()
        expected, found = NMEAReader.parse(sentence), plain_sentence(kind, fields)
        for name, value in vars(found).items() if found else ():
            theirs = getattr(expected, name, "")
            assert (type(value), repr(value)) == (type(theirs), repr(theirs)), name

    same()


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("RMC", "101530.00,A,3127.0,N,08330.0,W,2.43,87.1,310226,,,A"),  # no such day
        ("RMC", "251530.00,A,3127.0,N,08330.0,W,2.43,87.1,251126,,,A"),  # no such hour
        ("VTG", "87.1,T,,M,1_0,N,4.50,K,A"),
        ("GGA", "101530.00,31270,N,08330.0,W,1,08,1.0,90.0,M,-30.0,M,,"),
    ],
)
def test_what_is_not_plain_is_left_to_the_library(kind, fields):
    assert plain_sentence(kind, fields) is None


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(-1e5, 1e6), min_size=1, max_size=20))
def test_one_stamp_after_the_other_lies_where_all_at_once_lie(stamps):

    one, other = Timeline(), Timeline()
    placed = [float(other.place(np.array([stamp]))[0]) for stamp in stamps]
    assert [one.place_one(stamp) for stamp in stamps] == placed
    assert one.jumps == other.jumps
