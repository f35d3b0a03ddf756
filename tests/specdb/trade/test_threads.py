from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.errors import QuestionError
from specdb.trade.threads import METRIC_COARSE_PITCH_MM, PIPE_THREADS_PER_INCH, UNIFIED_SERIES, normal_thread

SAME_THREAD = {
    "1-12 UNF": [
        "1-12 UNF", '1"-12UNF-2B', "1 - 12 unf", "1-12UN", "1.000-12 UNF", "UNF 1-12", "1 in-12 UNF", "1''-12 UNF 2B",
        "1″–12 UNF", "1‑12 UNF",
    ],
    "3/4-16 UNF": ["3/4-16 UNF", '3/4"-16UNF-2B', "¾-16 UNF", ".75-16 UNF", "0.750-16 unf", "3/4 - 16 UN"],
    "1 1/2-16 UN": ["1 1/2-16 UN", "1-1/2-16 UN", "1½-16 UN", '1 1/2"-16UN-2B', "1.5-16 UN", "1 ½ - 16 un"],
    "1 1/2-12 UNF": ["1 1/2-12 UNF", "1-1/2-12 UNF-2B"],
    "1-14 UNS": ["1-14 UNS", "1-14 UNS-2B", "1-14 UN"],
    "M20x1.5": ["M20x1.5", "M20×1,5", "m20 x 1.5", "M20X1.50", "M20*1.5", "M20-1.5", "M 20 x 1.5 - 6H"],
    "M26x1.5": ["M26x1.5", "M26×1,5-6H"],
    "M20x2.5": ["M20", "M20-6H", "M20x2.5", "M20 x 2,5-4H5H"],
    "G3/4": [
        "G3/4", "G 3/4", 'G3/4"', "g 3/4", "G¾", "G3/4A", "G 3/4 B", "3/4 BSPP", '3/4" BSPP', "BSPP 3/4", "3/4-14 BSPP",
    ],
    "G1 1/2": ["G1 1/2", "G1-1/2", "G1½", "1 1/2 BSPP"],
    "R3/4": ["R3/4", "R 3/4", "Rc3/4", "RC 3/4", "3/4 BSPT", "BSPT 3/4"],
    "Rp3/4": ["Rp3/4", "RP 3/4"],
    "3/4 NPT": ["3/4 NPT", "NPT 3/4", '3/4" NPT', "3/4-14 NPT"],
    "3/4 NPTF": ["3/4 NPTF", "NPTF 3/4"],
    "1 NPT": ["1 NPT", "1-11.5 NPT", "1-11 1/2 NPT"],
}  # fmt: skip


@pytest.mark.parametrize(("normal", "written"), [(normal, w) for normal, many in SAME_THREAD.items() for w in many])
def test_one_thread_has_one_spelling(normal, written):
    assert normal_thread(written) == normal


@pytest.mark.parametrize("normal", SAME_THREAD)
def test_a_normal_spelling_stays_as_it_is(normal):
    assert normal_thread(normal) == normal


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("3/4-16 UNF", "M20x1.5"),
        *combinations(("1-12 UNF", "M26x1.5", "G3/4"), 2),
        ("1 1/2-16 UN", "1 1/2-12 UNF"),
        ("1-12 UNF", "1-14 UNS"),
        ("M20x1.5", "M20x2.5"),
        *combinations(("G3/4", "R3/4", "Rp3/4", "3/4 NPT", "3/4 NPTF"), 2),
        ("1-12 UNF", "1 1/2-12 UNF"),
    ],
)
def test_near_misses_are_never_equal(one, other):
    # Pairs named in the trade as mistaken for each other: they start on one another and then leak or back off.
    assert normal_thread(one) != normal_thread(other)


@pytest.mark.parametrize(
    "text",
    [
        "", "thread", "1-12", "M", "M0x0", "M20x0", "M20x20", "M26", "G", "R", "3/4 BSP", "G3/5", "G7", "M20x1.5LH",
        "11/2-16 UN", "G11/4", "3/0-16 UN", "1/3-16 UN", "1.312-12 UN", "0-12 UNF", "1-0 UNF", "3/4-16 UNJF",
        "1-12 NPT", "G3/4-16", "٣/4-16 UNF", "M٢٠x1.5", "1-12 UNF / M20x1.5", "1" * 200, "1-12 UNF" + " " * 60,
    ],
)  # fmt: skip
def test_what_is_not_understood_is_refused_with_what_is(text):
    with pytest.raises(QuestionError) as refusal:
        normal_thread(text)
    assert refusal.value.field == "thread"
    assert "1-12 UNF" in refusal.value.remedy


@given(st.text(alphabet='0123456789/-. "xXMGRUNFCSPTBAH½×,⁄', max_size=14))
def test_any_text_is_normal_after_once_or_refused(text):
    try:
        normal = normal_thread(text)
    except QuestionError:
        return
    assert normal_thread(normal) == normal


def test_every_tabled_thread_is_understood():
    for series, pairs in UNIFIED_SERIES.items():
        for size, pitch in pairs:
            whole, rest = divmod(size, 1)
            spelled = " ".join(str(part) for part in (whole, rest) if part)
            assert normal_thread(f"{spelled}-{pitch} {series}") == f"{spelled}-{pitch} {series}"
    for diameter, pitch in METRIC_COARSE_PITCH_MM.items():
        assert normal_thread(f"M{diameter}") == f"M{diameter}x{pitch}"
    for family, sizes in PIPE_THREADS_PER_INCH.items():
        for size in sizes:
            whole, rest = divmod(size, 1)
            spelled = " ".join(str(part) for part in (whole, rest) if part)
            assert normal_thread(f"{family}{spelled}") in (f"{family}{spelled}", f"{spelled} {family}")
