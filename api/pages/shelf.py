"""Files that were checked, kept for a while, so that what is taken in afterwards is what was checked."""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock
from types import TracebackType
from typing import BinaryIO

from specdb.errors import RowFault
from specdb.exchange import ImportReport

MOST_FILES = 8
MOST_BYTES = 128 << 20
"""Of all files together."""
KEPT_S = 15 * 60
_CHUNK_BYTES = 1 << 20


@dataclass(frozen=True)
class Checked:
    """What a check found when the catalogue was at ``revision``: what would be new, or the first of ``fault_count``
    faults. ``kept_count`` of them stand in a list beside the file."""

    revision: int
    report: ImportReport | None
    faults: Sequence[RowFault] = ()
    fault_count: int = 0
    kept_count: int = 0


@dataclass(frozen=True)
class Kept:
    """A file on the shelf: what it is called, who sent it and why, as typed; what the last check found; and the
    revision in which it was taken in, once it was."""

    name: str
    actor: str
    reason: str
    path: Path
    size_bytes: int
    until_s: float
    checked: Checked | None = None
    revision: int | None = None

    @property
    def faults_path(self) -> Path:
        """The list of all its faults, if it has any."""
        return self.path.with_suffix(".faults")


class Shelf:
    """At most ``MOST_FILES`` files of ``MOST_BYTES`` in all, each for ``KEPT_S`` seconds; the oldest goes first.

    They lie in a folder of the process's own, which goes with it.
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic):
        self._clock_s = clock_s
        self._files: OrderedDict[str, Kept] = OrderedDict()
        self._folder: TemporaryDirectory[str] | None = None
        self._lock = Lock()

    def __enter__(self) -> Shelf:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        with self._lock:
            self._files.clear()
            if self._folder is not None:
                self._folder.cleanup()
                self._folder = None

    def put(self, name: str, file: BinaryIO, actor: str = "", reason: str = "") -> str:
        """Keeps a copy of a file; gives its token, the SHA-256 of what is said of it and of what it holds."""
        size_bytes = file.seek(0, 2)
        file.seek(0)
        with self._lock:
            self._make_room(size_bytes)
            if self._folder is None:
                self._folder = TemporaryDirectory(prefix="specdb-")
            unnamed = Path(self._folder.name, "unnamed")
            # Of one content under two names a CSV file may be two sheets; and each sender has a check of his own.
            digest = hashlib.sha256("".join(f"{len(text)} {text}" for text in (name, actor, reason)).encode())
            with unnamed.open("wb") as copy:
                while chunk := file.read(_CHUNK_BYTES):
                    digest.update(chunk)
                    copy.write(chunk)
            token = digest.hexdigest()
            path = unnamed.replace(unnamed.with_name(token))
            self._files[token] = Kept(name, actor, reason, path, size_bytes, self._clock_s() + KEPT_S)
            self._files.move_to_end(token)
        return token

    def kept(self, token: str) -> Kept | None:
        """What is known of a file; None where it is not kept."""
        self.drop_old()
        with self._lock:
            return self._files.get(token)

    def take(self, token: str) -> BinaryIO | None:
        """A file, open, to be closed by who takes it; None where it is not kept. It stays on the shelf."""
        kept = self.kept(token)
        try:
            return None if kept is None else kept.path.open("rb")
        except FileNotFoundError:
            return None  # it made room for another in this moment

    def note_checked(self, token: str, checked: Checked, faults: Iterable[bytes] = ()) -> None:
        """Keeps what a check found with the file, if that is still there; ``faults`` are the lines of their list."""
        with self._lock:
            kept = self._files.get(token)
            if kept is None:
                return
            listed_bytes = 0
            with kept.faults_path.open("wb") as listed:
                for line in faults:
                    listed_bytes += listed.write(line)
            size_bytes = kept.size_bytes if kept.checked is not None else kept.size_bytes + listed_bytes
            self._files[token] = replace(kept, checked=checked, size_bytes=size_bytes)

    def note_taken_in(self, token: str, revision: int) -> None:
        """Keeps the revision in which a file was taken in, if it is still there."""
        with self._lock:
            kept = self._files.get(token)
            if kept is not None:
                self._files[token] = replace(kept, revision=revision)

    def drop_old(self) -> None:
        with self._lock:
            self._make_room(0)

    def _make_room(self, size_bytes: int) -> None:
        """Drops what is too old, and then the oldest as long as there is no room for one more file of this size."""
        now_s = self._clock_s()
        added = 1 if size_bytes else 0
        while self._files:
            oldest = next(iter(self._files.values()))
            held_bytes = sum(kept.size_bytes for kept in self._files.values())
            is_full = len(self._files) + added > MOST_FILES or held_bytes + size_bytes > MOST_BYTES
            if not is_full and oldest.until_s > now_s:
                return
            self._files.popitem(last=False)
            oldest.path.unlink(missing_ok=True)
            oldest.faults_path.unlink(missing_ok=True)
