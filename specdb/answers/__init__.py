"""Answers as data: the models that the API and ``--json`` print, built from the results that ranked.

Every quantity stands with its unit, in SI or US customary units; a bound that does not exist is null.
"""

from __future__ import annotations

from specdb.answers.deciding import comparison, criterion, equivalents
from specdb.answers.decisions import (
    CandidateShown,
    ComparedShown,
    ComparisonAnswer,
    CriterionShown,
    EquivalentsAnswer,
)
from specdb.answers.elements import ElementAnswer, RatingOnFile, element_answer
from specdb.answers.history import RevisionsAnswer, revisions_answer
from specdb.answers.imports import ImportAnswer, import_answer
from specdb.answers.listing import FILTERS, ElementsAnswer, listing
from specdb.answers.requests import RequestsAnswer, requests_answer
from specdb.answers.search import SearchAnswer, search_answer
from specdb.answers.shape import METHOD_VERSION
from specdb.answers.vocabulary import CharacteristicsAnswer, characteristics

__all__ = [
    "FILTERS",
    "METHOD_VERSION",
    "CandidateShown",
    "CharacteristicsAnswer",
    "ComparedShown",
    "ComparisonAnswer",
    "CriterionShown",
    "ElementAnswer",
    "ElementsAnswer",
    "EquivalentsAnswer",
    "ImportAnswer",
    "RatingOnFile",
    "RequestsAnswer",
    "RevisionsAnswer",
    "SearchAnswer",
    "characteristics",
    "comparison",
    "criterion",
    "element_answer",
    "equivalents",
    "import_answer",
    "listing",
    "requests_answer",
    "revisions_answer",
    "search_answer",
]
