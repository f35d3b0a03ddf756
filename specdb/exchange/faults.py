"""Faults of the files being taken in, collected so that every bad row is named at once."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from specdb.errors import ImportRefusedError, RowFault, SpecdbError, shown

MOST_FAULTS = 1000
"""Faults listed; those beyond are counted in a last one."""


@dataclass
class Findings:
    """What is noticed on the way in: faults, which refuse the import, and remarks with how often they apply."""

    faults: list[RowFault] = field(default_factory=list)
    not_listed: int = 0
    remarks: Counter[str] = field(default_factory=Counter)
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
        if len(self.faults) >= MOST_FAULTS:
            self.not_listed += 1
            return
        said = None if found is None else shown(found)
        self.faults.append(RowFault(file, row, column, said, message, remedy))

    def error(self, error: SpecdbError, file: str, row: int | None, column: str | None, found: str) -> None:
        """What our own reading raised, as a fault of the cell it was raised for."""
        self.fault(file, error.message, error.remedy or "Correct the cell.", row=row, column=column, found=found)

    @property
    def count(self) -> int:
        """Faults found so far, listed or not."""
        return len(self.faults) + self.not_listed

    def note(self, text: str) -> None:
        if text not in self.plain_notes:
            self.plain_notes.append(text)

    def notes(self) -> tuple[str, ...]:
        """Plain notes, then each remark with the number of rows it applies to."""
        counted = (f"{text} ({count} row{'' if count == 1 else 's'})" for text, count in sorted(self.remarks.items()))
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
