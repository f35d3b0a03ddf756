"""What to ask makers for: each test with the elements it would settle, what no test can settle, and the letters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pydantic import Field
from typing_extensions import override

from specdb.advice.asking import (
    Request,
    Requests,
    Unsettled,
    asked_words,
    cycles_of,
    fluid_class_of,
    help_words,
    requests,
    standards_of,
)
from specdb.advice.letters import letters
from specdb.answers.deciding import densities_shown, element_named, notes_shown, requirement_shown
from specdb.answers.decisions import ElementNamed, RequirementShown
from specdb.answers.shape import Answer, BoundsShown, QuantityShown, Tabular, bounds, quantity
from specdb.answers.tables import Cell, Table, column, numbers, whole_numbers
from specdb.characteristics import title_of
from specdb.ranking import Ranking
from specdb.units import UnitSystem
from specdb.wording import assumption_words, explanation


class UnsettledShown(Answer):
    """``rank`` is null for an element with nothing on file."""

    rank: int | None
    element_id: str
    maker: str
    number: str
    reason: str
    lacks: list[str]
    documents: list[str]
    explanation: str


class RequestShown(Answer):
    requirement: str
    characteristic: str
    title: str
    words: str
    standards: list[str]
    dust: str | None
    size: QuantityShown | None
    flow: QuantityShown | None
    viscosity: BoundsShown | None
    density: QuantityShown | None
    density_range: BoundsShown | None
    terminal_pressure_drop: QuantityShown | None
    cycle_pressure: QuantityShown | None
    cycles: float | None
    test_liquid: str | None
    drop_of: str | None
    capacity_basis: str | None
    fluid_class: str | None
    settles: int
    candidates: list[UnsettledShown]


class BeyondTestsShown(Answer):
    """What no test can settle; ``words`` say what would help."""

    requirement: str
    characteristic: str
    title: str
    words: str
    candidates: list[UnsettledShown]


class LetterShown(Answer):
    maker: str
    numbers: list[str] = Field(description="part numbers of the elements that it asks about")
    text: str = Field(description="the letter, ready to be sent")


class RequestsAnswer(Tabular):
    original: ElementNamed | None
    requirements: list[RequirementShown]
    considered: int
    asked_about: int
    requests: list[RequestShown]
    beyond_tests: list[BeyondTestsShown]
    letters: list[LetterShown]
    assumptions: dict[str, str]
    unused: list[str]
    notes: list[str]

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """A row for each element and test, those that no test can settle after them."""
        return Table(request_columns(units), request_rows(self.requests, self.beyond_tests))


def request_columns(units: UnitSystem) -> tuple[str, ...]:
    columns = (*whole_numbers("rank"), "element_id", "maker", "number", "requirement", "characteristic", "words")
    return (*columns, *_test_columns(units), "reason", "lacks", "documents", "explanation")


def request_rows(requests: Sequence[RequestShown], beyond_tests: Sequence[BeyondTestsShown]) -> list[list[Cell]]:
    """A row for each element and test, those that no test can settle after them."""
    no_test: list[Cell] = [None] * len(_test_columns("si"))
    tests: list[tuple[RequestShown | BeyondTestsShown, list[Cell]]] = [
        *((each, _test_cells(each)) for each in requests),
        *((each, no_test) for each in beyond_tests),
    ]
    return [
        [*_named(one), each.requirement, each.characteristic, each.words, *cells, *_why(one)]
        for each, cells in tests
        for one in each.candidates
    ]


def requests_answer(
    ranking: Ranking, *, limit: int, units: UnitSystem = "si", include_without_evidence: bool = False
) -> RequestsAnswer:
    """What to ask for, of at most ``limit`` candidates, and of as many elements with nothing on file if those are
    included."""
    return requests_about(ranking, listed_places(ranking, limit, include_without_evidence), units)


def listed_places(ranking: Ranking, limit: int, include_without_evidence: bool = False) -> dict[int, int | None]:
    """Rows of the ``limit`` best candidates with their ranks, and on request of as many with nothing on file, which
    have none."""
    unranked = [int(row) for row in ranking.without_evidence[:limit]] if include_without_evidence else []
    places: dict[int, int | None] = {int(row): place for place, row in enumerate(ranking.candidates[:limit], start=1)}
    return places | dict.fromkeys(unranked)


def requests_about(ranking: Ranking, places: Mapping[int, int | None], units: UnitSystem = "si") -> RequestsAnswer:
    """What to ask for, of the elements in the rows that ``places`` gives with their ranks, in that order."""
    duty, snapshot = ranking.duty, ranking.snapshot
    found = requests(ranking, list(places))
    by_test, beyond_tests = requests_shown(ranking, found, places, units)
    return RequestsAnswer(
        catalog_revision=snapshot.revision,
        original=None if duty.original is None else element_named(snapshot, duty.original),
        requirements=[requirement_shown(each, units) for each in duty.requirements],
        considered=ranking.considered,
        asked_about=len(places),
        requests=by_test,
        beyond_tests=beyond_tests,
        letters=[
            LetterShown(maker=each.maker, numbers=list(each.numbers), text=each.text)
            for each in letters(snapshot, found, list(places))
        ],
        assumptions=assumption_words(duty.assumptions),
        unused=list(duty.unused),
        notes=notes_shown(duty.notes, units),
    )


def requests_shown(
    ranking: Ranking, found: Requests, places: Mapping[int, int | None], units: UnitSystem
) -> tuple[list[RequestShown], list[BeyondTestsShown]]:
    """What would settle what is not shown of the elements in the rows of ``places``: by tests, and by nothing that is
    one."""
    beyond = [
        BeyondTestsShown(
            requirement=each.requirement.id,
            characteristic=each.requirement.characteristic,
            title=title_of(each.requirement.characteristic),
            words=help_words(each, units),
            candidates=_unsettled(ranking, each, places, units),
        )
        for each in found.beyond_tests
    ]
    return [_request(ranking, each, places, units) for each in found.by_test], beyond


def _request(ranking: Ranking, request: Request, places: Mapping[int, int | None], units: UnitSystem) -> RequestShown:
    asked = request.asked
    size = quantity(asked.size_um, "size", units)
    if size is not None:
        size.unit = f"{size.unit}({asked.scale})"
    low, high = asked.viscosity_low_mm2_s, asked.viscosity_high_mm2_s
    density, density_range = densities_shown(asked, units)
    return RequestShown(
        requirement=asked.id,
        characteristic=asked.characteristic,
        title=title_of(asked.characteristic),
        words=asked_words(asked, units),
        standards=list(standards_of(asked)),
        dust=asked.dust,
        size=size,
        flow=quantity(asked.flow_l_min, "flow", units),
        viscosity=None if low is None or high is None else bounds(low, high, "viscosity", units),
        density=density,
        density_range=density_range,
        terminal_pressure_drop=quantity(asked.terminal_pressure_drop_kpa, "pressure", units),
        cycle_pressure=quantity(asked.cycle_pressure_kpa, "pressure", units),
        cycles=cycles_of(asked),
        test_liquid=asked.test_liquid,
        drop_of=asked.drop_of,
        capacity_basis=asked.capacity_basis,
        fluid_class=fluid_class_of(asked),
        settles=len(request.unsettled),
        candidates=_unsettled(ranking, request, places, units),
    )


def _unsettled(
    ranking: Ranking, request: Request, places: Mapping[int, int | None], units: UnitSystem
) -> list[UnsettledShown]:
    def shown(one: Unsettled) -> UnsettledShown:
        elements = ranking.snapshot.elements
        return UnsettledShown(
            rank=places[one.row],
            element_id=elements.element_id[one.row],
            maker=elements.maker[one.row],
            number=elements.number[one.row],
            reason=one.reason,
            lacks=list(one.lacks),
            documents=[each.words for each in one.documents],
            explanation=explanation(ranking.snapshot, request.judged, one.row, units),
        )

    return [shown(one) for one in request.unsettled]


# --- the flat table --------------------------------------------------------------------------------


def _test_columns(units: UnitSystem) -> tuple[str, ...]:
    return (
        *(*whole_numbers("settles"), "standards", "dust"),
        *(column("size", "size", units), "size_scale", column("flow", "flow", units)),
        *(column("viscosity_low", "viscosity", units), column("viscosity_high", "viscosity", units)),
        *(column(name, "density", units) for name in ("density", "density_low", "density_high")),
        *(column("terminal_pressure_drop", "pressure", units), column("cycle_pressure", "pressure", units)),
        *(*numbers("cycles"), "test_liquid", "drop_of", "capacity_basis", "fluid_class"),
    )


def _test_cells(request: RequestShown) -> list[Cell]:
    size, viscosity, dense = request.size, request.viscosity, request.density_range
    return [
        *(request.settles, "; ".join(request.standards) or None, request.dust),
        *(_value(size), size.unit.partition("(")[2].rstrip(")") if size else None),
        _value(request.flow),
        *((viscosity.low, viscosity.high) if viscosity else (None, None)),
        *(_value(request.density), *((dense.low, dense.high) if dense else (None, None))),
        *(_value(request.terminal_pressure_drop), _value(request.cycle_pressure), request.cycles),
        *(request.test_liquid, request.drop_of, request.capacity_basis, request.fluid_class),
    ]


def _named(one: UnsettledShown) -> Sequence[Cell]:
    return one.rank, one.element_id, one.maker, one.number


def _why(one: UnsettledShown) -> Sequence[Cell]:
    return one.reason, "; ".join(one.lacks) or None, "; ".join(one.documents) or None, one.explanation


def _value(shown: QuantityShown | None) -> float | None:
    return None if shown is None else shown.value
