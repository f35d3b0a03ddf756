"""Faults of the files being taken in, collected so that every bad cell is named at once."""

from __future__ import annotations

from dataclasses import dataclass, field

from specdb.errors import ImportRefusedError, RowFault, SpecdbError, shown

MOST_FAULTS = 1000
"""Faults listed unless more are asked for; those beyond are counted in a last one."""
PLACES_TOLD = 3
"""Rows that a remark names, the first ones."""


@dataclass
class Remark:
    """How many rows something is said of, the first of them with what was found, and the last."""

    rows: int = 0
    last: tuple[str, int] | None = None
    first: list[tuple[str, int, str | None]] = field(default_factory=list)

    def __str__(self) -> str:
        said, before = [], None
        for file, row, found in self.first:
            where = f"row {row}" if file == before else f"{file} row {row}"
            before = file
            said.append(where if found is None else f'{where} "{shown(found)}"')
        count = f"({self.rows} row{'' if self.rows == 1 else 's'})"
        return f"{count}: {', '.join(said)}{', …' if self.rows > len(said) else ''}"


def _place(found: tuple[str, int, str | None]) -> tuple[str, int]:
    return found[:2]


@dataclass
class Findings:
    """What is noticed on the way in: faults, which refuse the import, and remarks with how often they apply."""

    most: int = MOST_FAULTS
    faults: list[RowFault] = field(default_factory=list)
    not_listed: int = 0
    remarks: dict[str, Remark] = field(default_factory=dict)
    plain_notes: list[str] = field(default_factory=list)

    def fault(
        self,
        file: str,
        message: str,
        remedy: str,
        *,
        row: int | None = None,
        column: str | None = None,
        found: str | None = None,
    ) -> None:
        if self.is_full:
            self.not_listed += 1
            return
        said = None if found is None else shown(found)
        self.faults.append(RowFault(file, row, column, said, message, remedy))

    def error(self, error: SpecdbError, file: str, row: int | None, column: str | None, found: str) -> None:
        """What our own reading raised, as a fault of the cell it was raised for."""
        self.fault(file, error.message, error.remedy or "Correct the cell.", row=row, column=column, found=found)

    @property
    def is_full(self) -> bool:
        """Whether a further fault is counted and no more."""
        return len(self.faults) >= self.most

    @property
    def count(self) -> int:
        """Faults found so far, listed or not."""
        return len(self.faults) + self.not_listed

    def note(self, text: str) -> None:
        if text not in self.plain_notes:
            self.plain_notes.append(text)

    def remark(self, text: str, file: str, row: int, found: str | None = None) -> None:
        """Counts a row, once, among those that ``text`` is said of."""
        remark = self.remarks.setdefault(text, Remark())
        if remark.last == (file, row):
            return
        remark.rows += 1
        remark.last = file, row
        if len(remark.first) < PLACES_TOLD:
            remark.first.append((file, row, found))
            remark.first.sort(key=_place)
        elif (file, row) < _place(remark.first[-1]):
            remark.first[-1] = file, row, found
            remark.first.sort(key=_place)

    def notes(self) -> tuple[str, ...]:
        """Plain notes, then each remark with the number of rows it applies to and the first of them."""
        counted = (f"{text} {remark}" for text, remark in sorted(self.remarks.items()))
        return (*self.plain_notes, *counted)

    def refuse_if_any(self) -> None:
        """Raises ImportRefusedError with every fault, in the order of files and rows."""
        if not self.faults:
            return
        ordered = sorted(self.faults, key=lambda fault: (fault.file, fault.row or 0))
        if self.not_listed:
            ordered.append(
                RowFault(
                    ordered[-1].file, None, None, None,
                    f"{self.not_listed} further faults are not listed.",
                    "Mend those listed and import again; the others will be named then.",
                )
            )  # fmt: skip
        raise ImportRefusedError(ordered, self.not_listed)
