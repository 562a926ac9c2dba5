"""The helper must fail where it ought to."""

import re

import pytest

from tests.published.published import Published
from tests.published.references import REFERENCES


def test_last_digit_sets_the_tolerance():
    check = Published("by hand", printed="1.2250")
    assert check.tolerance == pytest.approx(5e-5)
    check.check(1.22504)
    with pytest.raises(AssertionError, match=r"printed 1\.2250"):
        check.check(1.22506)


def test_exponents_and_whole_numbers_are_read():
    assert Published("by hand", printed="7.538e5").tolerance == pytest.approx(50.0)
    assert Published("by hand", printed="101325").tolerance == pytest.approx(0.5)


def test_offset_widens_and_needs_a_reason():
    assert Published("by hand", printed="10.0", model_offset=0.01, why="x").tolerance == (
        pytest.approx(0.15)
    )
    with pytest.raises(AssertionError, match="why"):
        Published("by hand", printed="10.0", model_offset=0.01)
    with pytest.raises(AssertionError, match="why"):
        Published("by hand", printed="10.0", why="x")


@pytest.mark.parametrize("kwargs", [{"printed": "1"}, {"printed": "0.0"}])
def test_too_coarse_a_value_is_refused(kwargs):
    with pytest.raises(AssertionError, match="too coarse"):
        Published("by hand", **kwargs)


def test_too_wide_an_offset_and_a_missing_source_are_refused():
    with pytest.raises(AssertionError, match="too coarse"):
        Published("by hand", printed="10.00", model_offset=0.11, why="x")
    with pytest.raises(AssertionError, match="source"):
        Published(" ", printed="10.00")


def test_a_number_that_is_none_fails():
    with pytest.raises(AssertionError, match="got nan"):
        Published("by hand", printed="10.00").check(float("nan"))


def test_a_source_that_no_reader_can_find_is_refused():
    with pytest.raises(AssertionError, match="no reader can find"):
        Published("a good book", printed="1.2250")


def test_a_named_source_resolves_to_its_full_text_and_memory_is_no_check():
    named = Published("JCGM 100:2008 H.1.6", printed="16.7")
    assert named.independent and "Guide" in named.references[0].title()
    recalled = Published("JCGM 100:2008 H.1.6, from memory", printed="16.7")
    assert recalled.references and not recalled.independent


@pytest.mark.parametrize("key", REFERENCES)
def test_references_name_author_title_year_and_place(key):
    full = REFERENCES[key]
    assert re.search(r"\b(18|19|20)\d\d\b", full), "a year"
    assert full.count(",") >= 2, "author, title and place"
