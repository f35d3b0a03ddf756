"""Sentences on mounting seal and media with the fluid: level, source, and what they say nothing of."""

from __future__ import annotations

import pytest

from specdb.answers import CriterionShown, criterion
from specdb.answers.deciding import shown_words
from specdb.criteria import judge
from specdb.duty import Requirement
from tests.reference import slow
from tests.reference.catalogues import snapshot_of


def told(words: dict[str, str], characteristic: str, fluid: str) -> tuple[CriterionShown, str]:
    """What an element of these words shows, at length and in a cell."""
    snapshot = snapshot_of([slow.Element("A", "1", (), words, {})])
    judged = judge(snapshot, Requirement("r", characteristic, "derived", word=fluid))
    return criterion(snapshot, judged, 0, "si"), shown_words(snapshot, judged, 0, "si")


LUBE_TECH = "Lube-Tech 138, 2022"
CELLULOSE = {"media": "cellulose"}
PASSED = CELLULOSE | {"fluids_tested": "HM HFC"}
FAILED = {"fluids_failed": "HFC"}


@pytest.mark.parametrize(
    ("seal", "fluid", "begins", "source", "cell"),
    [
        ("FKM", "HEES", "Meets: FKM as mounting seal is suitable with HEES by the table", LUBE_TECH, "FKM, suitable"),
        ("EPDM", "HEES", "Misses: EPDM as mounting seal is not suitable", LUBE_TECH, "EPDM, not suitable"),
        ("NBR", "HEES", "Not shown: whether NBR as mounting seal suits HEES depends", LUBE_TECH, "NBR, depends"),
        ("NBR", "HFDR", "Misses: NBR as mounting seal is not suitable with HFDR", "from memory", "NBR, not suitable"),
        ("NBR", "HM", "Not shown: the table says nothing of NBR as mounting seal", "no source at hand", "NBR, unknown"),
        ("none", "HM", "Meets: the element has no mounting seal that the fluid could attack", "", "no seal"),
        (None, "HM", "Not shown: nothing is on file for its mounting seal", "", "nothing on file"),
    ],
)
def test_a_seal_is_told_with_its_level_and_source(seal, fluid, begins, source, cell):
    shown, words = told({} if seal is None else {"seal": seal}, "seal_compatibility", fluid)
    assert shown.explanation.startswith(begins)
    assert source in shown.explanation
    assert shown.explanation.endswith(f"; a mounting seal suitable with {fluid} is required.")
    assert (words, shown.shown_word) == (cell, seal)


@pytest.mark.parametrize(
    ("words", "begins", "cell"),
    [
        (CELLULOSE, "Misses: cellulose as media is not suitable with HFC by the table", "cellulose, not suitable"),
        (PASSED, "Meets: its media and adhesive are listed as having passed ISO 2943 in HFC", "passed ISO 2943"),
        (FAILED, "Misses: its media and adhesive are listed as having failed ISO 2943 in HFC", "failed ISO 2943"),
        (PASSED | FAILED, "Not shown: its media and adhesive are listed as having", "passed and failed ISO 2943"),
        ({"fluids_tested": "HM"}, "Not shown: nothing is on file for its media", "nothing on file"),
    ],
)
def test_media_are_told_apart_from_the_mounting_seal(words, begins, cell):
    shown, shortly = told(words, "media_compatibility", "HFC")
    assert shown.explanation.startswith(begins)
    assert "; the mounting seal is judged by itself; media suitable with HFC is required." in shown.explanation
    assert shortly == cell


def test_what_decides_is_told_by_its_basis():
    assert told({"seal": "FKM"}, "seal_compatibility", "HEES")[0].basis == "from_table"
    assert told({"seal": "none"}, "seal_compatibility", "HEES")[0].basis == "not_applicable"
    assert told({"fluids_tested": "HFC"}, "media_compatibility", "HFC")[0].basis == "as_stated"
    disagree, _ = told(PASSED | FAILED, "media_compatibility", "HFC")
    assert "sources disagree" in disagree.explanation
    assert (disagree.verdict, disagree.reason, disagree.lean) == ("not_shown", "sources_disagree", "misses")
    assert disagree.basis is None


def test_the_document_behind_a_verdict_is_named(demo):
    (row,) = (place for place, number in enumerate(demo.elements.number) if number == "00431")
    for fluid, standard in (("HFC", "ISO 2943"), ("HFB", None)):
        judged = judge(demo, Requirement("r", "media_compatibility", "derived", word=fluid))
        [source] = criterion(demo, judged, row, "si").sources
        assert (source.source, source.standard) == ("OM-1", standard)
