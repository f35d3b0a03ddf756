"""The office suite as a test uses it: files opened, recalculated, read and converted."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast
from xml.sax.saxutils import escape

DRIVING = Path(__file__).with_name("driving.py")
ENDING_SECONDS = 20
PROFILE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
  xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Common/Security/Scripting"><prop oor:name="SecureURL" oor:op="fuse">
<value><it>{trusted}</it></value></prop></item>
<item oor:path="/org.openoffice.Office.Calc/Content/Update"><prop oor:name="Link" oor:op="fuse"><value>0</value></prop>
</item>
</oor:items>
"""
"""Settings of a user who trusts one folder (Tools, Options, Security, Trusted Sources) and has links updated always
(Tools, Options, Calc, General): of a file in it, and of no other, web functions are answered. It takes both."""


class OfficeError(Exception):
    """What the suite would not do, in its own words."""


@dataclass(frozen=True)
class Cell:
    """``shown`` is what the sheet shows; ``result`` the number or text that it holds, None if empty or an error;
    ``format`` the number format, ``@`` of a text; ``kind`` is empty, text, number or formula."""

    kind: str
    shown: str
    formula: str | None
    result: float | str | None
    error: int
    format: str


class Office:
    """One running suite. ``trusted`` is the folder whose files may update their web functions."""

    def __init__(self, driver: subprocess.Popen[str], trusted: Path):
        self._driver = driver
        self.trusted = trusted

    def open(self, file: Path) -> Document:
        """Raises OfficeError where the suite does not open it as a workbook."""
        return Document(self, **self.ask("open", file=str(file)))

    def ask(self, what: str, **arguments: object) -> Any:
        assert self._driver.stdin is not None
        self._driver.stdin.write(json.dumps({"do": what, **arguments}) + "\n")
        self._driver.stdin.flush()
        return told_by(self._driver)


class Document:
    """A workbook that is open."""

    def __init__(self, office: Office, document: int, sheets: list[str]):
        self._office = office
        self._number = document
        self.sheets = sheets

    def cells(self, sheet: str, where: str = "") -> list[list[Cell]]:
        """Rows of a range such as ``A1:D10``, by default of all that is used."""
        return [[Cell(**cell) for cell in row] for row in self._do("cells", sheet=sheet, where=where)]

    def cell(self, sheet: str, where: str) -> Cell:
        return self.cells(sheet, where)[0][0]

    def put(self, sheet: str, cell: str, value: str | float) -> None:
        """As if typed."""
        self._do("put", sheet=sheet, cell=cell, value=value)

    def recalculate(self) -> None:
        """Everything; web functions ask, and have their answers when this returns."""
        self._do("recalculate")

    def convert(self, file: Path) -> Path:
        """Written as xlsx, ods, pdf, or the first sheet as csv, by how ``file`` ends."""
        self._do("convert", file=str(file))
        return file

    def view(self, sheet: str) -> dict[str, Any]:
        """``frozen`` columns and rows or None, ranges with an ``autofilter``, ranges with ``conditional`` formats, and
        whether it is ``visible``."""
        return cast(dict[str, Any], self._do("view", sheet=sheet))

    def copied_afresh(self) -> Document:
        """A new document with the same sheets, formulas and values, whose web functions ask whatever folder this came
        from."""
        return Document(self._office, **self._do("copied_afresh"))

    def close(self) -> None:
        self._do("close")

    def _do(self, what: str, **arguments: object) -> Any:
        return self._office.ask(what, document=self._number, **arguments)


def told_by(driver: subprocess.Popen[str]) -> Any:
    assert driver.stdout is not None
    line = driver.stdout.readline()
    if not line:
        raise OfficeError("the suite has ended")
    told = json.loads(line)
    if "error" in told:
        raise OfficeError(told["error"])
    return told["answer"]


@contextmanager
def running(program: str, python: str, folder: Path) -> Iterator[Office]:
    """A suite of its own, in ``folder``; ``python`` is one that has ``uno``."""
    trusted = folder / "trusted"
    settings = folder / "profile" / "user" / "registrymodifications.xcu"
    for needed in (trusted, settings.parent):
        needed.mkdir(parents=True)
    settings.write_text(PROFILE.format(trusted=escape(trusted.as_uri())), encoding="utf-8")
    address = f"pipe,name=specdb{os.getpid()}"
    switches = ("--headless", "--norestore", "--nologo", f"--accept={address};urp;")
    suite = subprocess.Popen(
        [program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", *switches],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    driver = subprocess.Popen(
        [python, str(DRIVING), address], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="utf-8"
    )
    try:
        told_by(driver)
        office = Office(driver, trusted)
        yield office
        office.ask("end")
        suite.wait(ENDING_SECONDS)
    finally:
        driver.kill()
        driver.communicate()
        if suite.poll() is None:
            os.killpg(suite.pid, signal.SIGKILL)  # the program is a script that starts others
            suite.wait()
