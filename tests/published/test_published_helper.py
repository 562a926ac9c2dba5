"""The helper must fail where it ought to."""

import pytest

from tests.published.published import Published


def test_last_digit_sets_the_tolerance():
    check = Published("any", printed="1.2250")
    assert check.tolerance == pytest.approx(5e-5)
    check.check(1.22504)
    with pytest.raises(AssertionError, match=r"printed 1\.2250"):
        check.check(1.22506)


def test_exponents_and_whole_numbers_are_read():
    assert Published("any", printed="7.538e5").tolerance == pytest.approx(50.0)
    assert Published("any", printed="101325").tolerance == pytest.approx(0.5)


def test_offset_widens_and_needs_a_reason():
    assert Published("any", printed="10.0", model_offset=0.01, why="x").tolerance == (
        pytest.approx(0.15)
    )
    with pytest.raises(AssertionError, match="why"):
        Published("any", printed="10.0", model_offset=0.01)
    with pytest.raises(AssertionError, match="why"):
        Published("any", printed="10.0", why="x")


@pytest.mark.parametrize("kwargs", [{"printed": "1"}, {"printed": "0.0"}])
def test_too_coarse_a_value_is_refused(kwargs):
    with pytest.raises(AssertionError, match="too coarse"):
        Published("any", **kwargs)


def test_too_wide_an_offset_and_a_missing_source_are_refused():
    with pytest.raises(AssertionError, match="too coarse"):
        Published("any", printed="10.00", model_offset=0.11, why="x")
    with pytest.raises(AssertionError, match="source"):
        Published(" ", printed="10.00")


def test_a_number_that_is_none_fails():
    with pytest.raises(AssertionError, match="got nan"):
        Published("any", printed="10.00").check(float("nan"))
