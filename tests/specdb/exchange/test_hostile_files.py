"""Files made to harm: a clear fault, nothing changed, bounded memory and time."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from specdb.catalog import tables
from specdb.exchange import import_upload
from specdb.exchange.archive import LARGEST_DIRECTORY_BYTES, LARGEST_UNPACKED_BYTES, MOST_MEMBERS
from specdb.exchange.reading import MOST_COLUMNS, MOST_ROWS
from tests.specdb.exchange.stored import held
from tests.specdb.exchange.test_import_forms import FILES, WHO, faults_of, zipped
from tests.specdb.exchange.test_import_workbook import MAIN, by_hand, rows_by_hand

MIB = 2**20


def measured(work: Callable[[], None]) -> float:
    """Most memory that Python held for ``work``, in MiB."""
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1] / MIB
    finally:
        tracemalloc.stop()


# --- zip files --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "../elements.csv",
        "a/../../elements.csv",
        "/elements.csv",
        "C:/elements.csv",
        "C:elements.csv",
        "..\\elements.csv",
        "\\\\host\\share\\elements.csv",
    ],
)
def test_members_that_lead_out_are_refused(name, store):
    (fault,) = faults_of(store, "x.zip", zipped({**FILES, name: "maker,number\nA,1\n"}))
    assert "leads out of it" in fault


def test_links_are_refused(store):
    packed = io.BytesIO()
    link = zipfile.ZipInfo("elements.csv")
    link.create_system, link.external_attr = 3, 0o120777 << 16
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(link, "/etc/passwd")
    (fault,) = faults_of(store, "x.zip", packed)
    assert "a link in place of a file" in fault


def test_two_members_of_one_name_are_refused(store):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("elements.csv", "maker,number\nA,1\n")
        archive.writestr("dir/x", "")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("elements.csv", "maker,number\nA,2\n")
    (fault,) = faults_of(store, "x.zip", packed)
    assert "two files of one name" in fault


def test_encrypted_members_are_refused(store):
    data = bytearray(zipped({"elements.csv": "maker,number\nA,1\n"}).getvalue())
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    (fault,) = faults_of(store, "x.zip", io.BytesIO(bytes(data)))
    assert "protected by a password" in fault


@pytest.mark.parametrize("compression", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_packings_that_unpack_at_one_stroke_are_refused(compression, store):
    (fault,) = faults_of(store, "x.zip", zipped(FILES, compression))
    assert "packed in a way" in fault


@pytest.mark.parametrize("place", [0.3, 0.5, 0.97])
def test_a_damaged_zip_file_is_refused(place, store):
    data = bytearray(
        zipped({"elements.csv": "maker,number\n" + "".join(f"Demo Works,{n}\n" for n in range(500))}).getvalue()
    )
    start = int(len(data) * place)
    data[start : start + 4] = b"\xff\x00\xff\x00"
    assert faults_of(store, "x.zip", io.BytesIO(bytes(data)))


def test_very_many_members_are_refused(store):
    (fault,) = faults_of(store, "x.zip", zipped({f"{n}.txt": "" for n in range(MOST_MEMBERS + 1)}))
    assert f"{MOST_MEMBERS + 1} files" in fault


def test_a_directory_too_long_to_be_read_is_refused(store):
    packed = zipped({f"{n:0200}": "" for n in range(LARGEST_DIRECTORY_BYTES // 240)})
    (fault,) = faults_of(store, "x.zip", packed)
    assert "its directory is too long" in fault


def bomb(size: int) -> io.BytesIO:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("elements.csv", "w") as member:
        member.write(b"maker,number\n")
        for _ in range(size // MIB):
            member.write(b"\n" * MIB)
    return packed


def test_a_bomb_that_says_so_is_not_unpacked(store):
    packed = bomb(40 * MIB)
    peak = measured(lambda: faults_of(store, "x.zip", packed))
    assert peak < 20


def test_a_bomb_that_lies_about_its_size_is_stopped(store):
    data = bytearray(bomb(40 * MIB).getvalue())
    declared = struct.pack("<I", 20)
    directory = data.index(b"PK\x01\x02")
    data[22:26] = data[directory + 24 : directory + 28] = declared
    peak = measured(lambda: faults_of(store, "x.zip", io.BytesIO(bytes(data))))
    assert peak < 20


def test_members_that_share_one_body_count_each(store):
    packed = io.BytesIO(bomb(8 * MIB).getvalue())
    with zipfile.ZipFile(packed) as archive:
        (info,) = archive.infolist()
    data = packed.getvalue()
    directory = data[data.index(b"PK\x01\x02") : data.index(b"PK\x05\x06")]
    entries = b"".join(directory.replace(b"elements.csv", f"elements.{n:03}".encode()) for n in range(100))
    offset = data.index(b"PK\x01\x02")
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 100, 100, len(entries), offset, 0)
    (fault,) = faults_of(store, "x.zip", io.BytesIO(data[:offset] + entries + end))
    assert 100 * info.file_size > LARGEST_UNPACKED_BYTES
    assert "far larger than what is read here" in fault


# --- workbooks --------------------------------------------------------------------------------------

ENTITIES = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {name} "{f"&{of};" * 10}">' for of, name in zip("abcdefgh", "bcdefghi", strict=True))
    + "]>"
)


@pytest.mark.parametrize("part", ["xl/one.xml", "xl/texts.xml", "xl/book.xml", "_rels/.rels"])
@pytest.mark.parametrize("entity", [ENTITIES, '<!DOCTYPE x [<!ENTITY i SYSTEM "file:///etc/passwd">]>', "<!DOCTYPE x>"])
def test_entities_are_refused(part, entity, store):
    files = {
        "sheet": rows_by_hand("<x:row><x:c t='s'><x:v>0</x:v></x:c></x:row>"),
        "strings": "<x:si><x:t>A</x:t></x:si>",
    }
    whole = {name: zipfile.ZipFile(by_hand(**files)).read(name).decode() for name in [part]}
    peak = measured(
        lambda: faults_of(store, "b.xlsx", by_hand(**files, **{part: entity + whole[part].replace("A", "&i;")}))
    )
    assert peak < 20
    (fault,) = faults_of(store, "b.xlsx", by_hand(**files, **{part: entity + whole[part]}))
    assert "entities" in fault


def test_one_far_cell_costs_nothing(store):
    near = "<x:row><x:c t='str'><x:v>Demo</x:v></x:c><x:c t='str'><x:v>DW-1</x:v></x:c></x:row>"
    far = near.replace("<x:row>", "<x:row r='1048576'>").replace("DW-1", "DW-2")
    began = time.monotonic()
    peak = measured(lambda: import_upload(store, "b.xlsx", by_hand(rows_by_hand(near, far)), **WHO))
    assert peak < 20
    assert time.monotonic() - began < 10
    assert {row["number"] for row in held(store, tables.element)} == {"DW-1", "DW-2"}
    (fault,) = faults_of(store, "b.xlsx", by_hand(rows_by_hand("<x:row><x:c r='XFD2'><x:v>1</x:v></x:c></x:row>")))
    assert f"more than {MOST_COLUMNS} columns" in fault


def test_shared_strings_are_bounded(store):
    strings = f"<x:si><x:t>{'a' * 1000}</x:t></x:si>" * 70_000
    packed = by_hand(rows_by_hand(), strings, **{"xl/noise.bin": zipfile.ZipFile.__doc__.encode() * 10})
    peak = measured(lambda: faults_of(store, "b.xlsx", packed))
    assert peak < 100
    (fault,) = faults_of(store, "b.xlsx", packed)
    assert "large" in fault


def test_very_many_cells_and_styles_are_passed_over(store):
    cells = "<x:row>" + "<x:c s='1'/>" * 60_000 + "</x:row>"
    styles = f"<x:styleSheet {MAIN}><x:cellXfs>" + "<x:xf/>" * 20_000 + "</x:cellXfs></x:styleSheet>"
    packed = by_hand(rows_by_hand(cells), **{"xl/styles.xml": styles})
    assert measured(lambda: import_upload(store, "b.xlsx", packed, **WHO)) < 30


# --- CSV --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("maker,number\nDemo Works," + "x" * MIB, "more than 131072 characters"),
        ("maker,number\nDemo Works,1" + "," * 1_000_000, f"more than {MOST_COLUMNS} columns"),
        ("," * 1_000_000 + "\nDemo Works,1\n", f"more than {MOST_COLUMNS} columns"),
        ("maker" * 1_000_000, "more than 131072 characters"),
        ('maker,number\n"' + "x\n" * 1_000_000, "more than 131072 characters"),
    ],
    ids=["a cell", "a row of blanks", "a heading of blanks", "a heading", "an open quote"],
)
def test_cells_and_rows_out_of_measure(text, said, store):
    began = time.monotonic()
    (fault,) = faults_of(store, "elements.csv", io.BytesIO(text.encode()))
    assert said in fault
    assert time.monotonic() - began < 10


def test_blank_rows_are_passed_over_however_many(store):
    text = "maker,number\n" + "\n" * 100_000 + ",\n" * 100_000 + "Demo Works,DW-1\n"
    assert measured(lambda: import_upload(store, "elements.csv", io.BytesIO(text.encode()), **WHO)) < 20
    assert len(held(store, tables.element)) == 1


def test_rows_that_are_too_long_are_not_kept(store):
    text = "maker,number\n" + ("ab," * 499 + "c\n") * 5_000
    found: list[str] = []
    peak = measured(lambda: found.extend(faults_of(store, "elements.csv", io.BytesIO(text.encode()))))
    assert peak < 60
    assert found[0].startswith("elements.csv, row 2: The row has 500 cells, the headings are 2.")
    assert len(found) == 1001


def test_rows_beyond_the_limit_are_refused(store, monkeypatch):
    assert MOST_ROWS == 1_000_000
    monkeypatch.setattr("specdb.exchange.reading.MOST_ROWS", 100)
    monkeypatch.setattr("specdb.exchange.workbook.MOST_ROWS", 100)
    text = "maker,number\n" + "".join(f"Demo Works,{n}\n" for n in range(101))
    (fault,) = faults_of(store, "elements.csv", io.BytesIO(text.encode()))
    assert fault.startswith("elements.csv, row 102: There are more than 100 rows.")
    assert (
        import_upload(store, "elements.csv", io.BytesIO(text.rpartition("Demo")[0].encode()), **WHO).added["elements"]
        == 100
    )
    cells = [f"<x:row><x:c t='str'><x:v>D</x:v></x:c><x:c><x:v>{n}</x:v></x:c></x:row>" for n in range(101)]
    (fault,) = faults_of(store, "b.xlsx", by_hand(rows_by_hand(*cells)))
    assert fault.startswith("b.xlsx, sheet elements, row 102: There are more than 100 rows.")


def test_many_blanks_in_a_remark_take_no_time(store):
    text = "maker,number,replaces_maker,replaces_number,remark\nA,1,B,2,x" + " " * 9_990 + "y\n"
    began = time.monotonic()
    (fault,) = faults_of(store, "interchanges.csv", io.BytesIO(text.encode()))
    assert "characters" in fault
    assert time.monotonic() - began < 2


def test_workbooks_are_never_read_without_the_guard_against_entities():
    """Without it the program does not start to read files, rather than read them unguarded."""
    code = "import sys; sys.modules['defusedxml'] = None; import specdb.exchange"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[3])
    assert done.returncode != 0
    assert "defusedxml" in done.stderr
