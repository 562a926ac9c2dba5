"""What a comparison says: one screen for everybody, everything for those who ask."""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import replace

import pytest
from rich.console import Console

from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.jobs.comparison.result import CompareResult
from airsense.report.blocks import ONE_SCREEN, Caution, Heading, Sentence, Table
from airsense.report.figure import Picture
from airsense.report.html import render_page
from airsense.report.says import blocks
from airsense.report.says.pair import NO_FULL_LOAD, PARTS
from airsense.report.text import MOST_LINES, render
from airsense.report.words import BRIEF, CAUSES, READING_CAUSES, VERDICTS
from airsense.results import CAUTIONS, Interval
from tests.report_results import (
    COMPARE,
    COMPARISONS,
    JOINT,
    NEGATIVE,
    NOTHING_SHARED,
    PAIR,
    SAME_FINDING,
    TUNES,
    UNMATCHED,
    campaign,
    with_pair,
)

pytestmark = pytest.mark.slow

each = pytest.mark.parametrize("name", COMPARISONS)
widths = pytest.mark.parametrize("width", [60, 80, 100])
# The language of statistics has no place on the first screen.
STATISTICS = re.compile(r"posterior|\bpriors?\b|\bz\b|k = 1|chi|sigma|likelihood", re.IGNORECASE)
# Shorter ones are the ends of wrapped lines.
WHOLE_LINE = 30


def text_of(result: CompareResult, width: int = 80, *, everything: bool = False) -> str:
    """Return what is printed."""
    stream = io.StringIO()
    console = Console(file=stream, width=width, color_system=None, highlight=False)
    render(result, console, everything=everything)
    return stream.getvalue()


def flat(text: str) -> str:
    """Return a text on one line."""
    return " ".join(text.split())


def changes(result: CompareResult) -> dict[str, tuple[str, ...]]:
    """Return the table of the first screen by its labels."""
    found = [b for b in blocks(result) if isinstance(b, Table) and b.level == ONE_SCREEN]
    return {row[0].strip(): row[1:] for row in found[0].rows}


@each
@widths
def test_the_answer_fits_one_screen(name: str, width: int) -> None:
    lines = text_of(COMPARISONS[name], width).splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= width


@each
@widths
def test_no_line_is_repeated(name: str, width: int) -> None:
    lines = Counter(line.strip() for line in text_of(COMPARISONS[name], width).splitlines())
    assert [x for x, n in lines.items() if n > 1 and len(x) >= WHOLE_LINE] == []


@each
@widths
def test_every_caution_is_in_the_default_text(name: str, width: int) -> None:
    said = flat(text_of(COMPARISONS[name], width))
    for caution in CAUTIONS:
        assert flat(caution) in said


@each
def test_every_caution_is_on_the_page(name: str) -> None:
    page = render_page(COMPARISONS[name]).replace("\u00a0", " ")
    shown = page[page.index("<main>") : page.index("<footer>")]
    for caution in CAUTIONS:
        assert shown.count(f"<li>{caution}</li>") == 1


def test_a_caution_of_its_own_is_shown_too() -> None:
    result = replace(COMPARE, cautions=(*CAUTIONS, "Mind the gap."))
    assert "Mind the gap." in flat(text_of(result))
    assert "<li>Mind the gap.</li>" in render_page(result)


@each
def test_the_first_screen_speaks_a_workshops_language(name: str) -> None:
    assert not STATISTICS.search(text_of(COMPARISONS[name]))


def test_even_a_long_answer_fits_and_says_that_there_is_more() -> None:
    long = " ".join(f"Sentence number {k} of an answer that does not end." for k in range(80))
    said = text_of(with_pair(sentence=long), 60)
    assert len(said.splitlines()) <= MOST_LINES and "--all" in said
    assert flat(CAUTIONS[-1]) in flat(said)
    assert "Sentence number 79" in text_of(with_pair(sentence=long), everything=True)


def test_an_answer_that_cannot_be_cut_is_printed_whole() -> None:
    endless = "word " * 700
    said = text_of(with_pair(sentence=endless), 60)
    assert said.count("word") == 700 and flat(CAUTIONS[-1]) in flat(said)


@pytest.mark.parametrize("verdict", list(Verdict))
def test_each_verdict_has_words_that_say_it(verdict: Verdict) -> None:
    assert VERDICTS[verdict.value].upper() in text_of(with_pair(verdict=verdict))
    assert len(BRIEF.get(verdict.value, VERDICTS[verdict.value])) <= len("not the intake")


def test_verdicts_about_the_reading_alone_say_so() -> None:
    unmoved = replace(UNMATCHED.pairs[0], verdict=Verdict.NO_CHANGE)
    assert "THE READING DID NOT CHANGE" in text_of(replace(UNMATCHED, pairs=(unmoved,)))
    assert "THE READING CHANGED" in text_of(UNMATCHED)
    assert "NO CHANGE" in text_of(with_pair(verdict=Verdict.NO_CHANGE))


@pytest.mark.parametrize("cause", list(ReadingCause))
def test_each_cause_of_a_reading_has_words(cause: ReadingCause) -> None:
    said = flat(text_of(with_pair(reading_cause=cause), everything=True))
    assert READING_CAUSES[cause.value] in said


def test_each_cause_has_words() -> None:
    from airsense.cause import Cause

    assert {c.value for c in Cause} == set(CAUSES)


def test_the_parts_are_told_with_their_ranges() -> None:
    rows = changes(COMPARE)
    assert rows["what the sensor shows"] == ("+9.4 %", "+9.0 to +9.8 %")
    assert rows["what the engine breathes"] == ("+5.0 %", "+3.9 to +6.1 %")
    assert rows["of it weather"] == ("+1.6 %", "+1.1 to +2.1 %")
    assert rows["of it the intake"] == ("+3.3 %", "+2.1 to +4.5 %")
    assert rows["what is in the reading only"] == ("+4.2 %", "+3.1 to +5.3 %")
    assert rows["power at the wheels"] == ("+4.0 %", "+2.9 to +5.1 %")
    assert "of it demand and fuelling together" not in rows
    assert "of it demand and fuelling together" in changes(JOINT)


def test_negative_parts_keep_their_sign() -> None:
    rows = changes(NEGATIVE)
    assert rows["of it the intake"] == ("−3.0 %", "−4.2 to −1.8 %")
    assert rows["what is in the reading only"][0] == "−4.0 %"
    assert "THE INTAKE COSTS AIR" in text_of(NEGATIVE)


@pytest.mark.parametrize("result", [UNMATCHED, NOTHING_SHARED])
def test_without_full_load_the_engine_was_not_looked_at(result: CompareResult) -> None:
    rows = changes(result)
    assert rows["what the engine breathes"] == ("–", "not looked at")
    assert not [label for label in rows if label.startswith("of it")]
    assert NO_FULL_LOAD in text_of(result, 60) and NO_FULL_LOAD in render_page(result)
    assert "nan" not in text_of(result, everything=True).lower()


def test_logs_that_were_not_used_or_stand_out_are_named() -> None:
    said = flat(text_of(COMPARE))
    assert "5 of 6 used" in said
    assert "after_3.csv (no stretch under load)" in said
    assert "Odd: after_2.csv (reads 19 % above its repeats)" in said


def test_what_to_measure_next_says_how_and_at_what_cost() -> None:
    said = flat(text_of(COMPARE))
    assert "Measure next (free): Switch the ignition on" in said
    assert "[[measured]]" not in said
    assert "[[measured]]\nwhat = " in text_of(COMPARE, everything=True)
    assert "[[measured]]\nwhat = " in render_page(COMPARE).replace("&#34;", '"')


def test_the_cheapest_of_many_measurements_comes_first() -> None:
    steps = [b for b in blocks(campaign()) if isinstance(b, Sentence) and "Measure" in b.lead]
    assert [s.lead for s in steps][:1] == ["Measure next (free):"]
    assert [s.level for s in steps] == [0, 1, 1, 1]


def test_a_finding_is_told_once_with_all_its_files() -> None:
    said = text_of(COMPARE, 200, everything=True)
    assert said.count(SAME_FINDING) == 1
    assert "runs/before_1.csv, runs/before_2.csv" in flat(said)
    assert render_page(COMPARE).count(f"<td>{SAME_FINDING}") <= 1


def test_an_error_is_on_the_first_screen() -> None:
    assert "too few samples with the valve shut" in flat(text_of(NOTHING_SHARED))


def test_the_full_answer_holds_what_stands_behind() -> None:
    said = flat(text_of(COMPARE, 200, everything=True))
    for words in (
        *PAIR.sentences,
        "sensor reads by a factor 91 %",
        "leak after the compressor",
        "independent of the sensor",
        "a shift of pressure and a leak part",
        "our choice: a bore change is usual",
        "leaks five times as likely",
        "charge temperature 0.41 % no",
        "before_1.csv before pull 12.10 21.70 yes full load",
        "setup, [weather]",
        "workshop air, not logged",
        "ISO 1585",
        "1650 to 3950 rpm",
    ):
        assert flat(words) in said, words


@pytest.mark.parametrize("width", [60, 72, 90, 200])
def test_no_number_is_cut_off_however_narrow(width: int) -> None:
    number = re.compile(r"[−+]\d+\.\d")
    whole = Counter(number.findall(text_of(COMPARE, 400, everything=True)))
    narrow = Counter(number.findall(text_of(COMPARE, width, everything=True)))
    assert narrow == whole


def test_a_campaign_opens_with_one_table() -> None:
    said = [b for b in blocks(campaign()) if b.level == ONE_SCREEN]
    heading, which, table, *rest = said
    assert isinstance(heading, Heading) and isinstance(which, Sentence)
    assert which.text.startswith("Shown to give more air: cone filter, map 1; open box, map 1;")
    assert isinstance(table, Table) and len(table.rows) == len(campaign().pairs)
    assert table.columns[2:] == ("intake's part", "shown", "real", "reading", "power", "price/kW")
    assert table.rows[0][1:5] == ("part of it", "+2.1 to +4.5", "+9.4", "+5.0")
    assert [r[-1] for r in table.rows[:2]] == ["–", "53.4"], "no price where it is not resolved"
    assert not [b for b in rest if isinstance(b, Heading | Table)]


def test_a_campaign_without_a_gain_says_so() -> None:
    losses = replace(campaign(1), pairs=(NEGATIVE.pairs[0], UNMATCHED.pairs[0]))
    assert "None of them is shown to give more air." in text_of(losses)


def test_rows_that_give_way_are_announced() -> None:
    assert "More rows with --all." in text_of(campaign(6))
    assert "More rows" not in text_of(campaign(6), everything=True)
    assert "More rows" not in text_of(campaign(1), 80)


def test_two_tunes_have_their_own_question() -> None:
    page = render_page(TUNES)
    assert "Did the tune bring more air?" in page and "Was it the intake?" not in page
    assert "THE TUNE GAVE MORE AIR" in text_of(TUNES)


def test_figures_belong_to_the_full_answer() -> None:
    pictures = [b for b in blocks(COMPARE) if isinstance(b, Picture)]
    assert [p.name for p in pictures][:5] == [
        "decomposition", "full-load", "build-up", "by-speed", "routes",
    ]  # fmt: skip
    assert all(p.level > ONE_SCREEN for p in pictures)


def test_every_part_of_the_split_has_a_place_in_the_table() -> None:
    keys = [key for _, key in PARTS]
    whole = {f"airflow_change_{x}" for x in ("weather", "intake", "demand", "feedback")}
    assert whole | {"demand_feedback_joint"} == set(keys)


def test_cautions_are_blocks_that_nothing_hides() -> None:
    said = [b for b in blocks(COMPARE) if isinstance(b, Caution)]
    assert [b.text for b in said] == list(CAUTIONS)
    assert all(b.level == ONE_SCREEN for b in said)


def test_missing_bounds_are_shown_as_such() -> None:
    open_end = Interval(0.1, float("nan"), float("nan"))
    said = text_of(with_pair(fuel_change=open_end)) + render_page(with_pair(fuel_change=open_end))
    assert "nan" not in said.lower()
