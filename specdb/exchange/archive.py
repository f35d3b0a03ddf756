"""Zip files from outside: what is in one is read a piece at a time, within limits, and never put on disk.

Sizes that an archive declares are believed only where they make it too large; what is unpacked is
counted as it comes.
"""

from __future__ import annotations

import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import PurePosixPath, PureWindowsPath
from typing import BinaryIO

from specdb.exchange.faults import Findings

MOST_MEMBERS = 1000
LARGEST_DIRECTORY_BYTES = 2**20
LARGEST_UNPACKED_BYTES = 256 * 2**20
LARGEST_RATIO = 200
"""Unpacked bytes for each packed one, where more than ``ALWAYS_UNPACKED_BYTES`` come out."""
ALWAYS_UNPACKED_BYTES = 16 * 2**20
CHUNK_BYTES = 2**16

_ENCRYPTED = 0x1
_TAKEN = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_BROKEN = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError, RuntimeError)
_ZIP_AGAIN = "Zip the folder again with an ordinary program."


class _Bounded:
    """A file for ``zipfile``, which reads the whole directory of an archive at one stroke, however long."""

    def __init__(self, file: BinaryIO, size: int):
        self.seek, self.tell, self._file, self._size = file.seek, file.tell, file, size

    def seekable(self) -> bool:
        return True

    def read(self, count: int = -1) -> bytes:
        wanted = count if count >= 0 else self._size - self.tell()
        if wanted > LARGEST_DIRECTORY_BYTES:
            raise zipfile.BadZipFile("its directory is too long")
        return self._file.read(max(wanted, 0))


class Archive:
    """The members of one zip file by their paths; its size is that of the file itself."""

    def __init__(self, file: BinaryIO, name: str, findings: Findings, *, whole: bool = True):
        """Anything that an honest archive does not hold becomes a fault, and then no member is offered. Where not the
        ``whole`` of it will be read, only what is unpacked counts towards its limit."""
        self.name, self.findings = name, findings
        self.members: dict[str, zipfile.ZipInfo] = {}
        self.packed_bytes = file.seek(0, 2)
        self._left = max(ALWAYS_UNPACKED_BYTES, LARGEST_RATIO * self.packed_bytes)
        self._left = min(self._left, LARGEST_UNPACKED_BYTES)
        file.seek(0)
        try:
            self._zip = zipfile.ZipFile(_Bounded(file, self.packed_bytes))
        except _BROKEN as error:
            self._fault(f"The zip file cannot be read: {_said(error)}.", _ZIP_AGAIN)
            return
        self.members = self._checked(self._zip.infolist(), whole)

    def _fault(self, message: str, remedy: str, member: str | None = None) -> None:
        self.findings.fault(self.name, message, remedy, found=member)

    def _checked(self, infos: list[zipfile.ZipInfo], whole: bool) -> dict[str, zipfile.ZipInfo]:
        members: dict[str, zipfile.ZipInfo] = {}
        if len(infos) > MOST_MEMBERS:
            remedy = f"Zip only the sheets, at most {MOST_MEMBERS} files."
            self._fault(f"The zip file holds {len(infos)} files.", remedy)
            return {}
        for info in infos:
            path = info.filename.replace("\\", "/")
            wrong = self._wrong(info, path)
            if wrong is None and path in members:
                wrong = "The zip file holds two files of one name.", "Leave one of the two out."
            if wrong is not None:
                self._fault(*wrong, member=info.filename)
                return {}
            if not info.is_dir():
                members[path] = info
        if whole and sum(info.file_size for info in members.values()) > self._left:
            self._too_much()
            return {}
        return members

    def _wrong(self, info: zipfile.ZipInfo, path: str) -> tuple[str, str] | None:
        parts = PurePosixPath(path)
        if parts.is_absolute() or PureWindowsPath(path).drive or ".." in parts.parts:
            return "A file in the zip file leads out of it.", _ZIP_AGAIN
        if stat.S_ISLNK(info.external_attr >> 16):
            return "The zip file holds a link in place of a file.", "Put the file itself there."
        if info.flag_bits & _ENCRYPTED:
            return "The zip file is protected by a password.", "Zip the folder again without one."
        if info.compress_type not in _TAKEN:
            return "The zip file is packed in a way that is not read here.", _ZIP_AGAIN
        return None

    def _too_much(self) -> None:
        largest = LARGEST_UNPACKED_BYTES // 2**20
        remedy = f"Divide it into files of at most {largest} MiB in all, unpacked."
        self._fault("Unpacked the zip file is far larger than what is read here, or than its size lets expect.", remedy)

    def chunks(self, path: str, longest: int = LARGEST_UNPACKED_BYTES) -> Iterator[bytes]:
        """A member, a piece at a time; it ends early, with a fault, where it is broken or too much comes out."""
        info, unpacked = self.members[path], 0

        def too_large() -> None:
            remedy = f"At most {longest // 2**20} MiB are read: save it anew, with nothing else in it."
            self._fault("A part of the file is too large.", remedy, path)

        if info.file_size > longest:
            return too_large()
        try:
            with self._zip.open(info) as member:
                while chunk := member.read(CHUNK_BYTES):
                    unpacked += len(chunk)
                    self._left -= len(chunk)
                    if self._left < 0:
                        return self._too_much()
                    if unpacked > longest:
                        return too_large()
                    yield chunk
        except _BROKEN as error:
            self._fault(f"A file in the zip file cannot be unpacked: {_said(error)}.", _ZIP_AGAIN, path)
        return None

    def read(self, path: str) -> bytes | None:
        """A member whole, or None with a fault."""
        before = self.findings.count
        whole = b"".join(self.chunks(path))
        return None if self.findings.count > before else whole


def _said(error: BaseException) -> str:
    return str(error).partition("\n")[0].rstrip(".")[:100] or "it is broken"
