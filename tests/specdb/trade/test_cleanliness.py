from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import ConditionsError, QuestionError
from specdb.trade.cleanliness import (
    ABOVE_TABLE,
    HIGHEST,
    SIZES_UM,
    UP_TO_PER_ML,
    code_of_counts,
    count_range,
    read_code,
    scale_number,
)

counts = st.floats(0, 1e7)
falling_counts = st.lists(counts, min_size=3, max_size=3).map(lambda found: sorted(found, reverse=True))
numbers = st.lists(st.integers(0, ABOVE_TABLE), min_size=3, max_size=3).map(lambda found: sorted(found, reverse=True))


def written(number):
    return f">{HIGHEST}" if number == ABOVE_TABLE else str(number)


@given(st.floats(1e-9, 1e7))
def test_a_count_lies_in_the_range_of_its_number(count):
    more_than, up_to = count_range(scale_number(count))
    assert more_than < count * (1 + 1e-11)
    assert count <= up_to * (1 + 1e-11)


@given(counts, counts)
def test_more_particles_never_have_a_lower_number(one, other):
    low, high = sorted((one, other))
    assert scale_number(low) <= scale_number(high)


def test_the_ranges_join_without_gaps():
    assert [count_range(n)[1] for n in range(HIGHEST + 1)] == [count_range(n + 1)[0] for n in range(HIGHEST + 1)]
    assert count_range(0)[0] == 0


@given(st.lists(counts, max_size=5))
def test_arrays_give_what_numbers_give_and_nan_outside(found):
    array = scale_number(np.array([*found, -1.0, math.nan, math.inf]))
    assert array[:-3].tolist() == [scale_number(count) for count in found]
    assert np.isnan(array[-3:]).all()


@given(numbers)
def test_a_code_is_that_of_counts_within_its_ranges(scale_numbers):
    text = "/".join(map(written, scale_numbers))
    code = read_code(text)
    assert str(code) == text
    for share in (0.5, 1.0):
        within = [low + (min(high, 5e6) - low) * share for low, high in (place.range_per_ml() for place in code.places)]
        assert str(code_of_counts(within)) == text


@given(falling_counts)
def test_the_code_of_counts_reads_back(found):
    code = code_of_counts(found)
    assert read_code(str(code)) == code


@given(falling_counts, st.sampled_from((0.1, 1.0, 10.0, 100.0)))
def test_marks_read_back_and_open_the_range_upwards(found, volume_ml):
    code = code_of_counts(found, volume_ml=volume_ml)
    assert read_code(str(code)) == code
    for place, count in zip(code.places, found, strict=True):
        assert place.at_least == (round(count * volume_ml, 6) < 20)
        if place.at_least:
            assert place.range_per_ml()[1] == math.inf


@pytest.mark.parametrize(
    ("text", "code", "sizes"),
    [
        ("18/16/13", "18/16/13", (4, 6, 14)),
        ("18 / 16 / 13", "18/16/13", (4, 6, 14)),
        ("ISO 18/16/13", "18/16/13", (4, 6, 14)),
        ("iso 4406 18/16/13", "18/16/13", (4, 6, 14)),
        ("ISO 4406:2021 18/16/13", "18/16/13", (4, 6, 14)),
        ("ISO 4406-1999 18/16/13", "18/16/13", (4, 6, 14)),
        ("ISO 4406: 18/16/13", "18/16/13", (4, 6, 14)),
        ("  18/16/13\t", "18/16/13", (4, 6, 14)),
        ("08/06/03", "8/6/3", (4, 6, 14)),
        ("*/19/14", "*/19/14", (4, 6, 14)),
        ("*/*/14", "*/*/14", (4, 6, 14)),
        ("-/16/13", "-/16/13", (4, 6, 14)),
        ("–/16/13", "-/16/13", (4, 6, 14)),
        ("18/-/13", "18/-/13", (4, 6, 14)),
        ("> 28/26/20", ">28/26/20", (4, 6, 14)),
        (">28/>28/28", ">28/>28/28", (4, 6, 14)),
        ("14/12/≥7", "14/12/≥7", (4, 6, 14)),
        ("14/12/>=7", "14/12/≥7", (4, 6, 14)),
        ("≥8/9/7", "≥8/9/7", (4, 6, 14)),
        ("16/13", "16/13", (5, 15)),
        ("16/16", "16/16", (5, 15)),
    ],
)
def test_codes_as_people_write_them(text, code, sizes):
    read = read_code(text)
    assert str(read) == code
    assert read.sizes_um == sizes


def test_what_counted_settles_the_sizes_of_two_numbers():
    assert read_code("16/13", "automatic").sizes_um == (6, 14)
    assert read_code("-/16/13", "microscope") == read_code("16/13")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("16/18/13", "rise"),
        ("13/16", "rise"),
        ("18/-/19", "rise"),
        ("18/*/13", "rise"),
        ("28/>28/20", "rise"),
        ("14/12/≥13", "rise"),
        ("18", "no cleanliness code"),
        ("", "no cleanliness code"),
        ("clean", "no cleanliness code"),
        ("18/16/13/11", "not 4"),
        ("29/16/13", "no scale number"),
        (">27/16/13", "no scale number"),
        ("18.5/16/13", "no scale number"),
        ("18//13", "no cleanliness code"),
        ("18/ /13", "no scale number"),
        ("-18/16/13", "no scale number"),
        ("-/-/-", "says of no size"),
        ("18-16-13", "no cleanliness code"),
        ("/" * 5000, "no cleanliness code"),
        ("1" * 5000, "no cleanliness code"),
    ],
)
def test_what_is_no_code_is_refused_with_a_reason(text, why):
    with pytest.raises(QuestionError, match=why) as refused:
        read_code(text)
    assert refused.value.remedy


def test_a_microscope_has_no_three_numbers():
    with pytest.raises(QuestionError, match="two scale numbers"):
        read_code("18/16/13", "microscope")


@given(st.one_of(st.text(max_size=40), st.from_regex(r"[0-9*>≥ -]{1,3}/[0-9*>≥ -]{1,3}(/[0-9*>≥ -]{1,3})?")))
def test_any_text_is_read_and_reads_back_or_is_refused(text):
    try:
        code = read_code(text)
    except QuestionError:
        return
    assert read_code(str(code)).places == code.places


def test_too_many_to_count_and_not_counted():
    assert str(code_of_counts(["*", 5000.0, None])) == "*/19/-"
    assert str(code_of_counts([None, 640.0, 80.0])) == "-/16/13"
    assert str(code_of_counts([3e6, 3e6, 1.0])) == ">28/>28/7"


def test_nothing_counted_is_the_lowest_number():
    assert scale_number(0.0) == 0
    assert str(code_of_counts([100.0, 10.0, 0.0], volume_ml=100.0)) == "14/10/≥0"


@pytest.mark.parametrize("found", [[1.0, 2.0, 0.5], [10.0, None, 11.0], [10.0, "*", 1.0]])
def test_more_of_the_larger_particles_is_refused(found):
    with pytest.raises(ConditionsError, match="cannot be more"):
        code_of_counts(found)


@pytest.mark.parametrize("count", [-1.0, math.nan, math.inf])
def test_what_is_no_count_is_refused(count):
    with pytest.raises(ConditionsError):
        scale_number(count)


@pytest.mark.parametrize("number", [-1, ABOVE_TABLE + 1])
def test_what_is_no_scale_number_is_refused(number):
    with pytest.raises(ConditionsError, match="no such scale number"):
        count_range(number)


def test_a_code_needs_a_count_or_its_absence_for_each_size():
    for counting, sizes in SIZES_UM.items():
        with pytest.raises(ValueError, match=str(len(sizes))):
            code_of_counts([1.0], counting)


@pytest.mark.parametrize("count", UP_TO_PER_ML)
@pytest.mark.parametrize("volume_ml", [0.1, 0.3, 5.0, 10.0, 25.0, 100.0, 250.0])
def test_an_edge_is_hit_whatever_volume_was_counted(count, volume_ml):
    assert scale_number(count * volume_ml / volume_ml) == UP_TO_PER_ML.index(count)
