"""Lengths as shops write them."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slotwright.layout.errors import LengthError, SlotwrightError
from slotwright.layout.units import is_bare, parse_length, show


@pytest.mark.parametrize(
    ("given_text", "units", "mm"),
    [
        (648, "mm", 648.0),
        (25.5, "in", 647.7),
        ("648 mm", "in", 648.0),
        ("648mm", "in", 648.0),
        ("64.8 cm", "mm", 648.0),
        ("25.5 in", "mm", 647.7),
        ("25 1/2 in", "mm", 647.7),
        ('25-1/2"', "mm", 647.7),
        ("25 - 1/2 in", "mm", 647.7),
        ("25 1/2", "in", 647.7),
        ("1/64 in", "mm", 0.396875),
        ('.010"', "mm", 0.254),
        ("0.010 inch", "mm", 0.254),
        ("5 inches", "mm", 127.0),
        ("5 in.", "mm", 127.0),
        ("5\u2033", "mm", 127.0),
        ("5''", "mm", 127.0),
        ("-3.5 mm", "mm", -3.5),
        ("- 1/2 in", "mm", -12.7),
        ("  12.  ", "mm", 12.0),
        ("12", "in", 304.8),
    ],
)
def test_every_form(given_text, units, mm):
    assert parse_length(given_text, units) == mm


@pytest.mark.parametrize(
    "wrong",
    ["", "mm", "1/0 in", "1,5 mm", "12 ft", "1 2 3", "0x10", "1e3", "1/2/3", "\u0663 mm", "--3", "3 mm mm", "9" * 5000,
     True, None, [], {}, float("nan"), float("inf"), -float("inf"), "nan", "25 1/2.5 in", "5 1 in", "\x00"],
)  # fmt: skip
def test_what_is_no_length(wrong):
    with pytest.raises(LengthError) as caught:
        parse_length(wrong, "mm")
    assert isinstance(caught.value, SlotwrightError)
    assert isinstance(caught.value, ValueError)
    assert "given" in str(caught.value)
    assert len(str(caught.value)) < 250


def test_a_decimal_comma_is_named():
    with pytest.raises(LengthError, match="decimal point, not a comma"):
        parse_length("64,8 mm", "mm")


def test_a_huge_number_is_refused_not_overflown():
    with pytest.raises(LengthError, match="too large"):
        parse_length(10**400, "mm")


@given(st.decimals(min_value=-3000, max_value=3000, places=4, allow_nan=False))
def test_inches_are_exact(value):
    # 1 in = 25.4 mm exactly: the nearest double to the exact product, however it is written.
    exact = float(Fraction(str(value)) * Fraction(254, 10))
    assert parse_length(f"{value} in", "mm") == exact
    assert parse_length(str(value), "in") == exact


@given(st.integers(0, 100), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_are_exact(whole, part, of):
    exact = float((Fraction(part, of) + whole) * Fraction(254, 10))
    assert parse_length(f"{whole} {part}/{of} in", "mm") == exact
    assert parse_length(f'{whole}-{part}/{of}"', "mm") == exact


@given(st.floats(-2000, 2000))
def test_shown_and_read_again(mm):
    for units, worst in (("mm", 0.005), ("in", 0.0005 * 25.4)):
        assert abs(parse_length(float(show(mm, units)), units) - mm) <= worst * 1.000001
        assert not show(mm, units).startswith("-0.00") or float(show(mm, units)) != 0


@pytest.mark.parametrize(("text", "bare"), [(5, True), ("5", True), ("5 mm", False), ("1/2", True), ('1/2"', False)])
def test_bare(text, bare):
    assert is_bare(text) is bare
