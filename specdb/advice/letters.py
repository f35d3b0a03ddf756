"""What is asked for as a letter to each maker, ready to be sent.

What is required is not told: a question that names the answer it hopes for invites it. The number of cycles of a
fatigue test is, since the test is run to it. Letters are in SI whatever the reader's units are: tests are run and
reported in them (common practice), and a converted figure would ask for a test where nobody runs one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from specdb.advice.asking import STATEMENT, Request, Requests, Unsettled, result_words, run_words
from specdb.advice.gaps import Gaps, asked_of_makers
from specdb.amounts import listed
from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import title_of
from specdb.duty import Requirement

_OPENING = (
    "we are comparing filter elements and have not found the following on file for yours. "
    "Would you please send it to us as far as you have it?"
)
_CLOSING = (
    "With each value, please tell us whether it was measured, is a minimum or a maximum, or is typical; the date of "
    "the test; whether your own or an independent laboratory ran it; and the number of its report. A copy of the "
    "report serves best.",
    "If a test was run at other conditions, please send it with its conditions all the same. "
    "If there is none, please say so.",
)
_OWN_STATEMENT = "Your own statement"
_LEFT_UNSTATED = "Results that we have already; please state with them"


@dataclass(frozen=True)
class Letter:
    """``numbers`` are those of the maker's elements that it asks about, in the order of the candidates."""

    maker: str
    numbers: tuple[str, ...]
    text: str


def letters(snapshot: Snapshot, found: Requests, rows: Sequence[int]) -> list[Letter]:
    """One for each maker of whom something is asked, in the order in which the makers stand in ``rows``."""
    makers = list(dict.fromkeys(str(snapshot.elements.maker[row]) for row in rows))
    beyond = [_with_an_answer(each) for each in found.beyond_tests]
    disagreeing = [each for each in beyond if any(told.reason == "sources_disagree" for told in each.unsettled)]
    wanted = [*found.by_test, *(each for each in beyond if each not in disagreeing)]
    written = []
    for maker in makers:
        asked = _of_maker(snapshot, wanted, maker)
        doubtful = _of_maker(snapshot, disagreeing, maker)
        concerned = {told.row for _, all_told in (*asked, *doubtful) for told in all_told}
        numbers = tuple(str(snapshot.elements.number[row]) for row in rows if row in concerned)
        if numbers:
            written.append(Letter(maker, numbers, _text(snapshot, maker, numbers, asked, doubtful)))
    return written


def gap_letters(snapshot: Snapshot, missing: Mapping[int, Gaps]) -> list[Letter]:
    """What is missing of the elements in the rows that ``missing`` is of, as a letter to each maker in their order,
    where no duty says what is required."""
    elements = snapshot.elements
    written = []
    for maker in dict.fromkeys(str(elements.maker[row]) for row in missing):
        own = {row: its for row, its in missing.items() if elements.maker[row] == maker}
        lines = _gaps_asked(snapshot, own)
        numbers = tuple(str(elements.number[row]) for row, its in own.items() if not its.is_empty)
        if lines:
            written.append(Letter(maker, numbers, _whole(maker, numbers, lines)))
    return written


def _gaps_asked(snapshot: Snapshot, missing: Mapping[int, Gaps]) -> list[str]:
    runs = asked_of_makers(missing)
    lines: list[str] = []
    for place, (run, results) in enumerate(runs.items(), start=1):
        lines += ["", _heading(place, run)]
        for result, rows in results.items():
            lines.append(f"   - {result}: {', '.join(str(snapshot.elements.number[row]) for row in rows)}")
    titles = {source.key: f"{source.key} ({source.title})" for source in snapshot.sources.values()}
    unstated = [
        f"   - {snapshot.elements.number[row]}, {title_of(each.characteristic)}, {each.which}"
        f"{' in ' if each.sources else ''}{listed([titles[key] for key in each.sources])}: {each.lacking}"
        for row, its in missing.items()
        for each in its.unstated
    ]
    if unstated:
        lines += ["", f"{len(runs) + 1}. {_LEFT_UNSTATED}", *unstated]
    return lines


def _heading(place: int, run: str) -> str:
    return f"{place}. {_OWN_STATEMENT if run == STATEMENT else f'{run[0].upper()}{run[1:]}'}"


def _with_an_answer(request: Request) -> Request:
    """Of what no test settles, the elements of which a maker can say something: of none where the limit is not known,
    and where it is an estimate of those alone that do not lean yet."""
    if request.requirement.open:
        return replace(request, unsettled=())
    if request.requirement.estimated:
        undecided = tuple(told for told in request.unsettled if not request.judged.lean[told.row])
        return replace(request, unsettled=undecided)
    return request


_Told = list[tuple[Request, list[Unsettled]]]


def _of_maker(snapshot: Snapshot, found: Iterable[Request], maker: str) -> _Told:
    """Requests that concern elements of a maker, each with those elements alone."""
    own = ((each, [told for told in each.unsettled if snapshot.elements.maker[told.row] == maker]) for each in found)
    return [(each, told) for each, told in own if told]


def _text(snapshot: Snapshot, maker: str, numbers: Sequence[str], asked: _Told, doubtful: _Told) -> str:
    lines: list[str] = []
    runs: dict[str, _Told] = {}
    for each, told in asked:
        runs.setdefault(run_words(each.asked), []).append((each, told))
    for place, (run, results) in enumerate(runs.items(), start=1):
        lines += ["", _heading(place, run)]
        results.sort(key=lambda of: place_on_curve(of[0].asked))
        lines += _results_asked(snapshot, results)
        told_of = (one for _, told in results for one in told if one.lacks)
        lines += dict.fromkeys(f"   {_only_unstated(snapshot, one)}" for one in told_of)
    for place, (each, told) in enumerate(doubtful, start=len(runs) + 1):
        lines += ["", f"{place}. Results that disagree on {title_of(each.requirement.characteristic)}"]
        lines += [f"   - {_number(snapshot, one)}: {_documents(one)}" for one in told]
        lines.append("   Please send the report behind each that is yours, and say which result holds.")
    return _whole(maker, numbers, lines)


def _whole(maker: str, numbers: Sequence[str], asked: Sequence[str]) -> str:
    """The letter around the lines that say what is asked."""
    subject = f"Test results of your element{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"
    lines = [f"To: {maker}", f"Subject: {subject}", "", "Dear Sir or Madam,", "", _OPENING, *asked]
    lines += [line for paragraph in _CLOSING for line in ("", paragraph)]
    return "\n".join([*lines, "", "With our thanks", ""])


def place_on_curve(asked: Requirement) -> tuple[str, float, float, float]:
    """What puts the results of one test in order."""
    place = (asked.size_um or 0.0, asked.viscosity_low_mm2_s or 0.0, asked.flow_l_min or 0.0)
    return asked.characteristic, *place


def _results_asked(snapshot: Snapshot, results: _Told) -> list[str]:
    """A line for each result that is asked of one test; several requirements may ask the same."""
    numbers: dict[str, dict[str, None]] = {}
    for each, told in results:
        numbers.setdefault(result_words(each.asked), {}).update((_number(snapshot, one), None) for one in told)
    return [f"   - {result}: {', '.join(of)}" for result, of in numbers.items()]


def _number(snapshot: Snapshot, told: Unsettled) -> str:
    return str(snapshot.elements.number[told.row])


def _documents(told: Unsettled) -> str:
    return listed([document.words for document in told.documents]) or "no document is named"


def _only_unstated(snapshot: Snapshot, told: Unsettled) -> str:
    """What may do in place of a new test."""
    return (
        f"Of {_number(snapshot, told)} we have a result in {told.documents[0].name}, which does not state "
        f"{listed(list(told.lacks))}. To state it may be all that is needed."
    )
