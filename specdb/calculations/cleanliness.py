"""Cleanliness codes of fluids, both ways: what a code means, and the code of particle counts."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field

from specdb.answers.shape import Answer, QuantityShown, quantity
from specdb.answers.tables import Table, column, whole_numbers
from specdb.calculations.base import MOST, Asked, Calculated, Calculation, Fields, NumberTyped, shown_as
from specdb.calculations.filtration import with_scale
from specdb.duty.question import OneOf, Text
from specdb.errors import QuestionError
from specdb.trade.cleanliness import (
    ABOVE_TABLE,
    FEW_PARTICLES,
    SIZES_UM,
    TOO_MANY,
    CleanlinessCode,
    Counting,
    ScaleNumber,
    code_of_counts,
    read_code,
)
from specdb.units import UnitSystem, kinds_of, read_number, read_quantity, show

_SOURCE = "ISO 4406:2021, table 1 (rows 6 to 24 read, the others, the inclusive upper limit and the marks from memory)"
_COUNT_FIELDS: dict[Counting, tuple[str, ...]] = {
    "automatic": ("at_4", "at_6", "at_14"),
    "microscope": ("at_5", "at_15"),
}
_COUNT = 'particles of {} and larger: "1800 /mL", "180000 /100 mL", a bare count with volume_ml, * or -'
MICROSCOPE_DASH = (
    "A microscope's code may stand behind a dash as well; its sizes are then 5 and 15 µm (from memory). "
    "Say counting microscope for it."
)


class CleanlinessAsked(Asked):
    """A code, or counts at the sizes of one."""

    code: Text | None = Field(
        None, description='a code: also "*/19/14", "-/16/13", ">28/26/≥7", "16/13"', examples=["18/16/13"]
    )
    at_4: NumberTyped | None = Field(None, description=_COUNT.format("4 µm(c)"))
    at_6: NumberTyped | None = Field(None, description=_COUNT.format("6 µm(c)"))
    at_14: NumberTyped | None = Field(None, description=_COUNT.format("14 µm(c)"))
    at_5: NumberTyped | None = Field(None, description=_COUNT.format("5 µm") + "; under a microscope")
    at_15: NumberTyped | None = Field(None, description=_COUNT.format("15 µm") + "; under a microscope")
    volume_ml: Annotated[float, Field(gt=0, le=1e6)] | None = Field(
        None, description="volume in mL in which bare counts were counted"
    )
    counting: Annotated[str, OneOf(tuple(SIZES_UM))] | None = Field(
        None, description="what counted, where the code does not say: two numbers are a microscope's"
    )


class ScaleNumberShown(Answer):
    """One place of a code: particles per mL of its size and larger."""

    size: QuantityShown
    written: str = Field(description="as it stands in the code: 18, >28, ≥7, * or -")
    number: int | None = Field(description="scale number 0 to 28; null for >28, * and -")
    more_than: QuantityShown | None = Field(description="lower limit, exclusive; null where nothing is known")
    up_to: QuantityShown | None = Field(description="upper limit, inclusive; null where there is none")
    counted: QuantityShown | None = Field(None, description="the count that was asked")
    words: str


class CleanlinessAnswer(Calculated):
    """A cleanliness code and what its numbers mean."""

    code: str
    counting: Literal["automatic", "microscope"]
    numbers: list[ScaleNumberShown]

    def plain_table(self, units: UnitSystem = "si") -> Table:
        quantities = [column(name, "counts", units) for name in ("more_than", "up_to", "counted")]
        return Table(
            (
                *("code", "counting", column("size", "size", units), "scale"),
                *("written", *whole_numbers("number"), *quantities),
            ),
            [
                (
                    *(self.code, self.counting, place.size.value, "c" if self.counting == "automatic" else None),
                    *(place.written, place.number),
                    *(None if q is None else q.value for q in (place.more_than, place.up_to, place.counted)),
                )
                for place in self.numbers
            ],
        )


def cleanliness_code(asked: CleanlinessAsked, units: UnitSystem) -> CleanlinessAnswer:
    stated = {
        by: [name for name in names if getattr(asked, name) is not None] for by, names in _COUNT_FIELDS.items()
    }
    if (asked.code is not None) == any(stated.values()):
        raise QuestionError(
            "A code or counts are wanted.",
            field="code",
            remedy=f"State either a code, or counts at {', '.join(sum(_COUNT_FIELDS.values(), ()))}.",
        )
    counting: Counting | None = None if asked.counting is None else _counting(asked.counting)
    if asked.code is not None:
        return _of_code(asked.code, asked.volume_ml, counting, units)
    return _of_counts(asked, stated, counting, units)


def _counting(word: str) -> Counting:
    return "microscope" if word == "microscope" else "automatic"


def _of_code(text: str, volume_ml: float | None, counting: Counting | None, units: UnitSystem) -> CleanlinessAnswer:
    fields = Fields()
    if volume_ml is not None:
        fields.refuse("volume_ml", "A code is of particles per mL.", remedy="Leave the volume out.")
    code: CleanlinessCode | None = None
    with fields.at("code"):
        code = read_code(text, counting)
    fields.check()
    assert code is not None
    dashed = counting is None and code.counting == "automatic" and str(code.places[0]) == "-"
    return _answer(code, [None] * len(code.places), [MICROSCOPE_DASH] if dashed else [], units)


def _of_counts(
    asked: CleanlinessAsked, stated: dict[Counting, list[str]], counting: Counting | None, units: UnitSystem
) -> CleanlinessAnswer:
    fields = Fields()
    by: Counting = "microscope" if stated["microscope"] else "automatic"
    if all(stated.values()):
        fields.refuse(
            stated["microscope"][0],
            "Counts of an instrument (4, 6, 14 µm(c)) and of a microscope (5, 15 µm) make no one code.",
            remedy="State the counts of one of them.",
        )
    elif counting not in (None, by):
        fields.refuse("counting", f"These are the sizes of {by} counting.", value=counting, remedy="Leave it out.")
    counts = [_count(name, getattr(asked, name), asked.volume_ml, fields) for name in _COUNT_FIELDS[by]]
    fields.check()
    code: CleanlinessCode | None = None
    largest = stated[by][-1]
    with fields.at(largest):
        code = code_of_counts(counts, by, volume_ml=asked.volume_ml)
    fields.check()
    assert code is not None
    notes = [f"≥ marks fewer than {FEW_PARTICLES} particles counted."] if any(p.at_least for p in code.places) else []
    if 0.0 in counts:
        notes.append("Nothing was counted where the count is 0; row 0 of the table stands for it.")
    return _answer(code, counts, notes, units)


def _count(field: str, text: str | None, volume_ml: float | None, fields: Fields) -> float | Literal["*"] | None:
    """Particles per mL, "*" for too many to count, None for not counted."""
    if text is None or text.strip() == "-":
        return None
    if text.strip() == TOO_MANY:
        return TOO_MANY
    with fields.at(field):
        if bare := not kinds_of(text):
            count = read_number(text).value / (volume_ml or 1.0)
        else:
            count = read_quantity(text, "counts").value
        if bare != (volume_ml is not None):
            raise QuestionError(
                "This count states no volume." if bare else "This count and volume_ml both state a volume.",
                value=text,
                remedy='Write "1800 /mL" or "180000 /100 mL", or a bare count and its volume_ml.',
            )
        if not 0 <= count <= MOST:
            raise QuestionError("This is no particle count.", value=text, remedy="State 0 or more particles.")
        return count
    return None


def _answer(
    code: CleanlinessCode, counts: list[float | Literal["*"] | None], notes: list[str], units: UnitSystem
) -> CleanlinessAnswer:
    numbers = [
        _shown(place, size, code.counting, None if isinstance(count, str) else count, units)
        for place, size, count in zip(code.places, code.sizes_um, counts, strict=True)
    ]
    return CleanlinessAnswer(
        words=f"{code}: " + "; ".join(number.words for number in numbers) + ".",
        code=str(code),
        counting=code.counting,
        numbers=numbers,
        notes=notes,
        source=_SOURCE,
    )


def _shown(
    place: ScaleNumber, size_um: float, counting: Counting, count: float | None, units: UnitSystem
) -> ScaleNumberShown:
    size = shown_as(size_um, "size", units)
    size.unit = with_scale(size.unit, "c" if counting == "automatic" else None)
    where = f"of {size_um:g} {size.unit} and larger"
    span = place.range_per_ml()
    low, high = span or (None, None)
    if span is None:
        words = f"{'too many to count' if place.too_many else 'not counted'}: particles {where}"
    elif math.isinf(span[1]):
        words = f"more than {_count_words(span[0])} particles per mL {where}"
    else:
        words = f"more than {_count_words(span[0])}, up to {_count_words(span[1])} particles per mL {where}"
    return ScaleNumberShown(
        size=size,
        written=str(place),
        number=None if place.number == ABOVE_TABLE else place.number,
        more_than=quantity(low, "counts", units),
        up_to=quantity(None if high == math.inf else high, "counts", units),
        counted=quantity(count, "counts", units),
        words=words,
    )


def _count_words(count_per_ml: float) -> str:
    return show(count_per_ml, "counts").partition(" ")[0]


CLEANLINESS_CODE = Calculation(
    key="cleanliness_code",
    title="Cleanliness code, both ways",
    help="What a cleanliness code (ISO 4406) means in particles per mL, or the code of particle counts.",
    asked=CleanlinessAsked,
    answer=CleanlinessAnswer,
    compute=cleanliness_code,
    typed=("code",),
    source=_SOURCE,
)
