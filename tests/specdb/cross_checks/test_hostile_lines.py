"""Files of lines made to harm: one clear answer each, early, and in bounded memory."""

from __future__ import annotations

import io
import os
import re
import resource
import struct
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterable, Iterator

import pytest

from specdb.cross_checks.lines import MOST_LINES
from specdb.cross_checks.reading import read_lines
from specdb.errors import QuestionError

MIB = 2**20
MOST_MIB = 64
"""What reading any of these may add to the memory of the process, the file itself left aside."""
MOST_SECONDS = 10
"""Of work, whatever else the machine does."""

_MAIN = (
    'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
    'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"'
)
_KIND = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_HEADINGS = "<row><c t='str'><v>number</v></c><c t='str'><v>flow [L/min]</v></c></row>"


def _relations(*targets: tuple[str, str]) -> str:
    told = (
        f'<Relationship Id="r{place}" Type="{_KIND}/{kind}" Target="{target}"/>'
        for place, (kind, target) in enumerate(targets)
    )
    packages = "http://schemas.openxmlformats.org/package/2006/relationships"
    return f'<Relationships xmlns="{packages}">{"".join(told)}</Relationships>'


def book(pieces: Iterable[str], strings: Iterable[str] = (), before: str = "") -> bytes:
    """A workbook of one sheet that holds headings and ``pieces`` of XML."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("_rels/.rels", _relations(("officeDocument", "xl/book.xml")))
        parts = _relations(("worksheet", "one.xml"), ("sharedStrings", "texts.xml"))
        archive.writestr("xl/_rels/book.xml.rels", parts)
        sheets = '<sheets><sheet name="A" sheetId="1" r:id="r0"/></sheets>'
        archive.writestr("xl/book.xml", f"<workbook {_MAIN}>{sheets}</workbook>")
        for path, element, content in (
            ("xl/texts.xml", "sst", strings),
            ("xl/one.xml", "worksheet", (f"<sheetData>{_HEADINGS}", *pieces, "</sheetData>")),
        ):
            with archive.open(path, "w") as member:
                member.write(f"{before if element == 'worksheet' else ''}<{element} {_MAIN}>".encode())
                for piece in content:
                    member.write(piece.encode())
                member.write(f"</{element}>".encode())
    return packed.getvalue()


def _lying(data: bytes) -> bytes:
    """The same workbook, which says that its sheet is small."""
    told = bytearray(data)
    entry = told.index(b"xl/one.xml", told.index(b"PK\x01\x02")) - 46
    told[entry + 24 : entry + 28] = struct.pack("<I", 2000)
    return bytes(told)


_LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {name} "{f"&{of};" * 10}">' for of, name in zip("abcdefgh", "bcdefghi", strict=True))
    + "]>"
)
_CELL = "<row><c t='str'><v>"
_NAMES = ",".join(f"elements.{number}.number" for number in range(1, 21))
_SIZES = ",".join(f"require.{number}.size [um]" for number in range(1, 17))


def hostile() -> Iterator[tuple[str, bytes, str]]:
    """What it is, the file, and what its answer says."""
    lines = "".join(f"{_CELL}{n * 7919}</v></c></row>" for n in range(10_000))
    yield "1,000,000 rows", book([lines] * 100), f"more than {MOST_LINES} lines"
    yield "blank rows", book(f'<row r="{n}" s="1" ht="{n % 97}"/>' for n in range(2, 150_000)), "no line below"
    yield "bomb", book(" " * MIB for _ in range(140)), "too large"
    yield "bomb that lies", _lying(book(" " * MIB for _ in range(40))), "cannot be unpacked"
    yield "bomb of one text", book([_CELL, *("x" * MIB for _ in range(17)), "</v></c></row>"]), "far larger"
    yield "nested", book("<a>" * (MIB // 4) for _ in range(16)), "nested without an end"
    yield "comment", book(["<!--", *("x" * MIB for _ in range(12)), "-->"]), "without an end"
    yield "tag", book(["<row a='", *("x" * MIB for _ in range(12)), "'/>"]), "without an end"
    yield "row of cells", book(["<row>", "<c><v>1</v></c>" * 600_000, "</row>"]), "has more than 16384 cells"
    yield "17,000 columns", book(["<row>", *(f"<c><v>{n}</v></c>" for n in range(17_000)), "</row>"]), "16384 cells"
    yield "far column", book([_CELL, "1</v></c><c r='XFD2'><v>1</v></c></row>"]), "in column 16384"
    yield "texts", book([_CELL, "1</v></c></row>"], (f"<si><t>{n:x}</t></si>" for n in range(150_000))), "1 lines"
    yield "entities", book([_CELL, "&i;</v></c></row>"], before=_LAUGHS), "declares entities"
    yield "long CSV", b"number,flow\n" + b"a,1 L/min\n" * 10**6, f"more than {MOST_LINES} lines"
    yield "long line", b"number," + b"x" * 12 * MIB, "more than"
    yield "all at fault", f"{_NAMES},{_SIZES}\n".encode() + (b"a," * 20 + b"y," * 15 + b"y\n") * 5_000, "5000 lines"
    texts = ",".join(["\N{EURO SIGN}" * 200] * 20)
    yield "texts aside", f"number{',x' * 20}\n{f'a,{texts}{chr(10)}' * 5_000}".encode(), "5000 lines"
    yield "brackets", b"[" * 2 * MIB, "far more than lines"
    yield "objects", b"[" + b"{}," * 200_000 + b"{}]", f"more than {MOST_LINES} lines"
    yield "a long number", b'[{"limit":' + b"9" * 2 * MIB + b"}]", "too many digits"
    yield "names", b"[" + b",".join(b'{"zq%d":1}' % n for n in range(2_000)) + b"]", "different names are not known"


def _measure() -> None:
    """Reads each file in a process of its own, and prints what it took, what was said and what should have been."""
    for name, data, wanted in hostile():
        if os.fork():
            os.wait()
            continue
        before, began = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
        try:
            said = f"{len(read_lines('lines.xlsx', io.BytesIO(data)).lines)} lines"
        except QuestionError as error:
            said = str(error)
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        took = time.process_time() - began
        print(f"{name}\t{len(data) / MIB:.1f}\t{grown:.1f}\t{took:.2f}\t{said}\t{wanted}", flush=True)
        os._exit(0)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork to measure one file at a time")
def test_hostile_files_are_answered_clearly_in_bounded_memory_and_time():
    done = subprocess.run([sys.executable, "-m", __name__], capture_output=True, text=True, check=True)
    told = [line.split("\t") for line in done.stdout.splitlines()]
    assert len(told) == 21, done.stderr
    for name, size_mib, grown_mib, seconds, said, wanted in told:
        assert wanted in said, name
        assert float(grown_mib) < MOST_MIB + 2 * float(size_mib), name
        assert float(seconds) < MOST_SECONDS, name


def test_macros_are_left_aside_and_wrong_endings_do_not_matter():
    data = book([_CELL, "12-1</v></c></row>"])
    packed = io.BytesIO(data)
    with zipfile.ZipFile(packed, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"\0\1")
    read = read_lines("lines.csv", packed)
    assert [dict(line.asked) for line in read.lines] == [{"original.number": "12-1"}]
    assert read.notes == ("macros were left aside",)


@pytest.mark.parametrize("end", [40, 0.3, 0.6, 0.95])
def test_broken_zip_files_are_refused_by_what_they_are(end):
    data = book([f"{_CELL}{n}</v></c></row>" for n in range(500)])
    cut = data[: end if isinstance(end, int) else int(len(data) * end)]
    with pytest.raises(QuestionError) as refusal:
        read_lines("lines.xlsx", io.BytesIO(cut))
    assert re.search("cannot be (read|unpacked)", str(refusal.value))
    assert "anew" in str(refusal.value.remedy)


if __name__ == "__main__":
    _measure()
