"""Cleanliness classes older than ISO 4406, side by side for what was counted or for the limits of a code."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from pydantic import Field

from specdb.amounts import listed
from specdb.answers.shape import Answer, QuantityShown, tidy
from specdb.answers.tables import Table, numbers, yes_or_no
from specdb.calculations.base import MOST, Asked, Calculated, Calculation, Fields, QuantityTyped
from specdb.duty.question import Text
from specdb.errors import QuestionError
from specdb.trade.cleanliness import CleanlinessCode, code_of_counts, read_code
from specdb.trade.cleanliness_classes import (
    AS4059,
    NAS_1638,
    NAVY,
    ClassSystem,
    Sizes,
    class_at,
    class_of_counts,
    class_word,
    limits_of,
)
from specdb.units import UnitSystem, read_quantity

_SOURCE = "; ".join(system.source for system in (AS4059, NAS_1638, NAVY)) + "; ISO 4406:2021, table 1"
_PER_100_ML = "1/100mL"
_JUST_ABOVE = 1 + 1e-9
"""Brings the lower limit of a scale number, which is exclusive, to a count above it."""

NO_TRANSLATION = (
    "No class translates exactly into another system: AS4059 and ISO 4406 count particles of a size and larger, NAS "
    "1638 and the Navy's table those of a range, and instruments, dusts and scales of size changed between them."
)
FROM_RANGES = (
    "A code says nothing of the particles in a range, so that it has no class of NAS 1638 or of the Navy's table."
)
_RANGES_NOT_COUNTED = (
    "Counts of a size and larger are no counts of a range: for NAS 1638 and the Navy's table, state ranges."
)

_Span = tuple[float, float]
"""Least and most particles per 100 mL."""


def _field(sizes: Sizes) -> str:
    """The field that takes the count of these sizes."""
    return f"over_{sizes.low_um:g}" if sizes.high_um == math.inf else f"from_{sizes.low_um:g}_to_{sizes.high_um:g}"


_SYSTEMS = (AS4059, NAS_1638, NAVY)
_LARGEST = "over_100"
_COUNT_FIELDS = tuple(dict.fromkeys(_field(sizes) for system in _SYSTEMS for sizes in system.sizes))


def _count(words: str, example: str | None = None) -> str:
    return f'particles {words}: "{example or "180000"} /100 mL"'


class ClassAsked(Asked):
    """A code, or counts: of sizes and larger, of ranges, or both."""

    code: Text | None = Field(
        None, description='code by ISO 4406, instead of counts: "18/16/13"', examples=["18/16/13"]
    )
    over_4: QuantityTyped | None = Field(None, description=_count("over 4 µm(c)"))
    over_6: QuantityTyped | None = Field(None, description=_count("over 6 µm(c)", "60000"))
    over_14: QuantityTyped | None = Field(None, description=_count("over 14 µm(c)", "8000"))
    over_21: QuantityTyped | None = Field(None, description=_count("over 21 µm(c)", "1500"))
    over_38: QuantityTyped | None = Field(None, description=_count("over 38 µm(c)", "200"))
    over_70: QuantityTyped | None = Field(None, description=_count("over 70 µm(c)", "20"))
    from_5_to_15: QuantityTyped | None = Field(None, description=_count("from 5 to 15 µm", "32000"))
    from_15_to_25: QuantityTyped | None = Field(None, description=_count("from 15 to 25 µm", "5700"))
    from_5_to_10: QuantityTyped | None = Field(None, description=_count("from 5 to 10 µm", "24000"))
    from_10_to_25: QuantityTyped | None = Field(None, description=_count("from 10 to 25 µm", "5360"))
    from_25_to_50: QuantityTyped | None = Field(None, description=_count("from 25 to 50 µm", "780"))
    from_50_to_100: QuantityTyped | None = Field(None, description=_count("from 50 to 100 µm", "110"))
    over_100: QuantityTyped | None = Field(None, description=_count("over 100 µm, beside ranges", "11"))


class ClassOfSizeShown(Answer):
    """One size of a table."""

    particles: str = Field(description="the sizes that are counted together")
    at_least: str = Field(description="cleanest class that what is known allows")
    at_most: str | None = Field(description="dirtiest class that it allows; null where it has no upper end")
    counted_least: QuantityShown = Field(description="least particles per 100 mL")
    counted_most: QuantityShown | None = Field(description="most particles per 100 mL; null where there is no end")
    limit: QuantityShown | None = Field(
        description="most particles per 100 mL that at_most allows; null above the table"
    )


class ClassShown(Answer):
    """What a table makes of it: at_least and at_most are the same where counts are stated."""

    system: Literal["as4059", "nas_1638", "navy"] = Field(description="the table that the class is of")
    title: str
    at_least: str = Field(description="the class is no cleaner than this one")
    at_most: str | None = Field(description="by the sizes that are known it is no dirtier than this one")
    whole: bool = Field(description="every size of the table is known; otherwise another may make the class dirtier")
    sizes: list[ClassOfSizeShown] = Field(description="one for each size of the table that is known")
    words: str
    source: str


class ClassAnswer(Calculated):
    """Classes side by side."""

    code: str | None = Field(description="code by ISO 4406: the one asked, or that of counts over 4, 6 and 14 µm(c)")
    classes: list[ClassShown] = Field(description="one for each table that what is known falls into")

    def plain_table(self, units: UnitSystem = "si") -> Table:  # noqa: ARG002 - classes are of 100 mL in any units
        return Table(
            (
                *("code", "system", *yes_or_no("whole"), "class_at_least", "class_at_most"),
                *("particles", "at_least", "at_most"),
                *numbers("counted_least_per_100ml", "counted_most_per_100ml", "limit_per_100ml"),
            ),
            [
                (
                    *(self.code, each.system, each.whole, each.at_least, each.at_most),
                    *(size.particles, size.at_least, size.at_most),
                    *(None if q is None else q.value for q in (size.counted_least, size.counted_most, size.limit)),
                )
                for each in self.classes
                for size in each.sizes
            ],
        )


def cleanliness_class(asked: ClassAsked, units: UnitSystem) -> ClassAnswer:  # noqa: ARG001 - as in every unit system
    fields = Fields()
    stated = {name: text for name in _COUNT_FIELDS if (text := getattr(asked, name)) is not None}
    if (asked.code is not None) == bool(stated):
        raise QuestionError("A code or counts are wanted.", field="code", remedy="State either the code, or counts.")
    code: str | None
    if asked.code is not None:
        read = _code(asked.code, fields)
        code, spans = str(read), _spans_of(read)
        notes = [FROM_RANGES, *([_MICROSCOPE] if read.counting == "microscope" else [])]
    else:
        spans = {name: (count, count) for name, count in _counts(stated, fields).items()}
        code = _code_of(spans)
        cumulative_only = not any(name.startswith("from_") for name in spans)
        notes = [_RANGES_NOT_COUNTED] if cumulative_only else []
        if set(spans) == {_LARGEST}:
            raise QuestionError("The largest particles alone tell no class.", field=_LARGEST, remedy="State ranges.")
    shown = [made for system in _SYSTEMS if (made := _class(system, spans)) is not None]
    return ClassAnswer(
        words="; ".join(each.words for each in shown) + ".",
        code=code,
        classes=shown,
        notes=[*fields.notes, *notes],
        cautions=[NO_TRANSLATION],
        source=_SOURCE,
    )


_MICROSCOPE = "A microscope's 5 and 15 µm stand in the columns of 6 and 14 µm(c) (ISO 4406:2021, 4.1)."


def _code(text: str, fields: Fields) -> CleanlinessCode:
    code: CleanlinessCode | None = None
    with fields.at("code"):
        code = read_code(text)
        if all(place.number is None for place in code.places):
            raise QuestionError("This code holds no limit.", value=text, remedy="State a scale number at one size.")
    fields.check()
    assert code is not None
    return code


def _spans_of(code: CleanlinessCode) -> dict[str, _Span]:
    """Particles per 100 mL that the scale numbers leave; row 0 has no lower end."""
    fields = ("over_4", "over_6", "over_14")[-len(code.places) :]
    spans = {name: place.range_per_ml() for name, place in zip(fields, code.places, strict=True)}
    return {name: (span[0] * 100, span[1] * 100) for name, span in spans.items() if span is not None}


def _counts(stated: Mapping[str, str], fields: Fields) -> dict[str, float]:
    counts: dict[str, float] = {}
    for name, text in stated.items():
        with fields.at(name):
            count = read_quantity(text, "counts").value * 100
            if not 0 <= count <= MOST * 100:
                raise QuestionError("This is no particle count.", value=text, remedy="State 0 or more particles.")
            counts[name] = count
    fields.check()
    most = math.inf
    for name in map(_field, AS4059.sizes):
        if counts.get(name, 0.0) > most:
            fields.refuse(name, "There cannot be more of the larger particles than of all.", value=stated[name])
        most = min(most, counts.get(name, most))
    fields.check()
    return counts


def _code_of(spans: Mapping[str, _Span]) -> str | None:
    counts = [spans[name][0] / 100 if name in spans else None for name in ("over_4", "over_6", "over_14")]
    return None if counts == [None] * len(counts) else str(code_of_counts(counts))


def _class(system: ClassSystem, spans: Mapping[str, _Span]) -> ClassShown | None:
    """What a table makes of the counts, None where none of its ranges or sizes is known."""
    counted = [spans.get(_field(sizes)) for sizes in system.sizes]
    known = [sizes for sizes, span in zip(system.sizes, counted, strict=True) if span is not None]
    # The few particles over the largest size alone tell no class of ranges.
    if not known or list(map(_field, known)) == [_LARGEST]:
        return None
    whole = len(known) == len(system.sizes)
    least = class_of_counts(system, [None if span is None else _least(span) for span in counted])
    most = class_of_counts(system, [None if span is None else span[1] for span in counted])
    assert least is not None
    assert most is not None
    bounded = all(span is None or math.isfinite(span[1]) for span in counted)
    at_least, at_most = class_word(system, least), class_word(system, most) if bounded else None
    return ClassShown(
        system=_KEYS[system.key],
        title=system.title,
        at_least=at_least,
        at_most=at_most,
        whole=whole,
        sizes=[_size(system, place, span) for place, span in enumerate(counted) if span is not None],
        words=f"{system.title}: {_class_words(at_least, at_most)}{'' if whole else _partly(known)}",
        source=system.source,
    )


_KEYS: dict[str, Literal["as4059", "nas_1638", "navy"]] = {"as4059": "as4059", "nas_1638": "nas_1638", "navy": "navy"}


def _least(span: _Span) -> float:
    """Least particles of a stated count, or of a scale number, which has more than its lower limit."""
    return span[0] if span[0] == span[1] else span[0] * _JUST_ABOVE


def _size(system: ClassSystem, place: int, span: _Span) -> ClassOfSizeShown:
    at_least, at_most = (class_word(system, class_at(system, place, n)) for n in (_least(span), span[1]))
    bounded = math.isfinite(span[1])
    limit = limits_of(system, at_most)[place] if at_most in system.limits else None
    return ClassOfSizeShown(
        particles=str(system.sizes[place]),
        at_least=at_least,
        at_most=at_most if bounded else None,
        counted_least=QuantityShown(value=tidy(span[0]), unit=_PER_100_ML),
        counted_most=QuantityShown(value=tidy(span[1]), unit=_PER_100_ML) if bounded else None,
        limit=None if limit is None else QuantityShown(value=limit, unit=_PER_100_ML),
    )


def _class_words(at_least: str, at_most: str | None) -> str:
    if at_most is None:
        return f"class {at_least} or dirtier"
    return f"class {at_most}" if at_least == at_most else f"class {at_least} to {at_most}"


def _partly(sizes: Sequence[Sizes]) -> str:
    return f" by the particles {listed([str(size) for size in sizes])}; the other sizes may make it a dirtier one"


CLEANLINESS_CLASS = Calculation(
    key="cleanliness_class",
    title="Cleanliness classes older than ISO 4406",
    help="The class by SAE AS4059, NAS 1638 and the US Navy's table of particle counts, or of the limits of a code.",
    asked=ClassAsked,
    answer=ClassAnswer,
    compute=cleanliness_class,
    typed=("code",),
    source=_SOURCE,
)
