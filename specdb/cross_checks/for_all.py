"""What is asked of a cross-check as a whole: what holds for all of its lines, and how they are asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO, get_args

from specdb.cross_checks.lines import FOR_ALL, MOST_CANDIDATES, NOT_ANSWERED_WITH, LinesRead
from specdb.cross_checks.reading import lines_of_json, read_lines
from specdb.cross_checks.running import Mode
from specdb.duty.dotted import DottedField, compared_names, dotted_names, faults_as_typed, question_of
from specdb.duty.left import faults_in_the_rest
from specdb.duty.question import JUDGED
from specdb.errors import InputError, QuestionError, meant_by, shown

MODES: tuple[Mode, ...] = get_args(Mode)
FIELDS = ("lines", *FOR_ALL)
"""Names of a cross-check as plain data."""


@dataclass(frozen=True)
class CrossCheck:
    """Lines with what holds for all of them; ``mode`` is None where it is not said."""

    lines: LinesRead
    common: Mapping[str, str] = field(default_factory=dict)
    mode: Mode | None = None

    def said_anew(self, common: Mapping[str, str], mode: Mode | None = None) -> CrossCheck:
        """The same lines, of which those who hand them in say this, and have the last word."""
        return CrossCheck(self.lines, {**self.common, **common}, mode or self.mode)


def names_for_all() -> Mapping[str, DottedField]:
    """The names that may be said for all lines; ``as_of`` is the one that a line may not say."""
    return {name: its for name, its in dotted_names().items() if name not in NOT_ANSWERED_WITH}


def read_cross_check(data: object) -> CrossCheck:
    """A cross-check from plain data: an object with ``lines`` and, if need be, ``common`` and ``mode``.

    Raises QuestionError for what is wrong with the whole; what is wrong with one line goes to its faults.
    """
    if not isinstance(data, dict):
        raise QuestionError("An object is expected.", remedy='Send {"lines": [{"original.number": "12-1"}]}.')
    faults = []
    for name in data:
        if name not in FIELDS:
            near = meant_by(str(name), FIELDS)
            remedy = (f"Is {near} meant? " if near else "") + f"Known are {', '.join(FIELDS)}."
            faults.append(QuestionError("There is no such field.", field=str(name), remedy=remedy))
            faults[-1].whole = True
    try:
        mode = _mode_of(data.get("mode"))
    except QuestionError as error:
        faults.append(error)
    if "lines" not in data:
        message = "This is needed and was not stated."
        faults.append(QuestionError(message, field="lines", remedy="Give a list of lines."))
    if faults:
        raise QuestionError.of(faults)
    return CrossCheck(lines_of_json(data["lines"]), common_of(data.get("common") or {}), mode)


def read_cross_check_file(name: str, file: BinaryIO) -> CrossCheck:
    """The lines of a file, as :func:`specdb.cross_checks.reading.read_lines` reads them, with what a JSON file says for
    all of them. Raises QuestionError as that does, and as :func:`read_cross_check`."""
    lines = read_lines(name, file)
    return CrossCheck(lines, common_of(lines.beside.get("common") or {}), _mode_of(lines.beside.get("mode")))


def _mode_of(data: object) -> Mode | None:
    if data is None:
        return None
    for mode in MODES:
        if mode == data:
            return mode
    remedy = f"One of {', '.join(MODES)}."
    raise QuestionError("This is no way to answer lines.", value=shown(data), field="mode", remedy=remedy)


def common_of(data: object) -> dict[str, str]:
    """What plain data says for all lines: dotted names with texts, or the parts of a question.

    Raises InputError as :func:`read_common`, its fields below ``common``.
    """
    if not isinstance(data, dict):
        raise QuestionError("An object of names and values is expected.", field="common")
    parts = {name: value for name, value in data.items() if isinstance(value, dict | list)}
    try:
        dotted = {str(name): _text_of(value) for name, value in data.items() if name not in parts}
        if parts:
            read = lines_of_json([parts])
            if faults := [QuestionError(f"{note}.", field="common") for note in read.notes] or read.lines[0].faults:
                raise QuestionError.of(faults)
            dotted = {**read.lines[0].asked, **dotted}
        return read_common(dotted)
    except InputError as error:
        for each in error.faults or (error,):
            if isinstance(each, InputError) and each.field not in (None, "common"):
                each.field, each.whole = f"common.{each.field}", False
        raise


def _text_of(value: object) -> str:
    """The text that stands for a plain value, as in an address."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def read_common(dotted: Mapping[str, str], beside: Sequence[str] = ()) -> dict[str, str]:
    """What these names and texts say for all lines; an empty text says nothing. ``beside`` are names that the caller
    reads himself, offered where they are misspelt.

    Raises InputError, its fields as typed, for what could be right in no line: a name that is unknown, a word of no
    list, a quantity that cannot be read, too many candidates. What the lines complete is left for them to judge.
    """
    with faults_as_typed(dotted):
        _refuse_of_no_line(dotted)
        lacking = dict(_lacking(dotted))
        question = question_of({**dotted, **lacking}, beside)
        if question.limit > MOST_CANDIDATES and dotted.get("limit", "").strip():
            message = f"At most {MOST_CANDIDATES} candidates are given for a line."
            raise QuestionError(message, field="limit", value=dotted["limit"], remedy="Ask for fewer.")
        plain: dict[str, Any] = question.model_dump(by_alias=True, include={"duty"})
        if any(name.startswith("require.") for name in lacking):
            plain["duty"]["require"] = []  # what they require is not said yet
        faults = faults_in_the_rest(plain, ())
        if faults:
            raise QuestionError.of(faults)
    return {name: text for name, text in dotted.items() if text.strip()}


def _refuse_of_no_line(dotted: Mapping[str, str]) -> None:
    """Raises QuestionError for names that a question or a comparison has, and all lines together have not."""
    faults = []
    for name in dotted:
        if name in NOT_ANSWERED_WITH:
            error = QuestionError("A line is not answered with this.", field=name, remedy="Leave it out.")
        elif name in compared_names():
            remedy = "Give the alternatives a column of their own."
            error = QuestionError("Which element is judged, each line says.", field=name, remedy=remedy)
        else:
            continue
        error.whole = True
        faults.append(error)
    if faults:
        raise QuestionError.of(faults)


def _lacking(dotted: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """What stands for what lines are left to say: the number of an original of which anything is said, and the
    characteristic of a requirement."""
    groups = {name.rpartition(".")[0] for name, text in dotted.items() if name in dotted_names() and text.strip()}
    for group in sorted(groups):
        name, text = ("original.number", "-") if group == "original" else (f"{group}.characteristic", JUDGED[0])
        if group.startswith(("original", "require.")) and not dotted.get(name, "").strip():
            yield name, text
