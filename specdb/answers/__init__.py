"""Answers as data: the models that the API and ``--json`` print, built from the results that ranked.

Every quantity stands with its unit, in SI or US customary units; a bound that does not exist is null.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
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
    from specdb.answers.lists import FILTERS, ElementsAnswer, listing
    from specdb.answers.requests import RequestsAnswer, listed_places, requests_about, requests_answer
    from specdb.answers.search import SearchAnswer, found_answer, search_answer
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
    "found_answer",
    "import_answer",
    "listed_places",
    "listing",
    "requests_about",
    "requests_answer",
    "revisions_answer",
    "search_answer",
]

_HOME = {
    "FILTERS": "lists",
    "METHOD_VERSION": "shape",
    "CandidateShown": "decisions",
    "CharacteristicsAnswer": "vocabulary",
    "ComparedShown": "decisions",
    "ComparisonAnswer": "decisions",
    "CriterionShown": "decisions",
    "ElementAnswer": "elements",
    "ElementsAnswer": "lists",
    "EquivalentsAnswer": "decisions",
    "ImportAnswer": "imports",
    "RatingOnFile": "elements",
    "RequestsAnswer": "requests",
    "RevisionsAnswer": "history",
    "SearchAnswer": "search",
    "characteristics": "vocabulary",
    "comparison": "deciding",
    "criterion": "deciding",
    "element_answer": "elements",
    "equivalents": "deciding",
    "found_answer": "search",
    "import_answer": "imports",
    "listed_places": "requests",
    "listing": "lists",
    "requests_about": "requests",
    "requests_answer": "requests",
    "revisions_answer": "history",
    "search_answer": "search",
}
"""Module of each name: loaded when it is first asked for, since a small sum or a list takes none of the rest."""


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
