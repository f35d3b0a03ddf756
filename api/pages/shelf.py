"""Files that were checked, kept for a while, so that what is taken in afterwards is what was checked."""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock
from types import TracebackType
from typing import BinaryIO

MOST_FILES = 8
MOST_BYTES = 128 << 20
"""Of all files together."""
KEPT_S = 15 * 60
_CHUNK_BYTES = 1 << 20


@dataclass(frozen=True)
class _Kept:
    name: str
    path: Path
    size_bytes: int
    until_s: float


class Shelf:
    """At most ``MOST_FILES`` files of ``MOST_BYTES`` in all, each for ``KEPT_S`` seconds; the oldest goes first.

    They lie in a folder of the process's own, which goes with it.
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic):
        self._clock_s = clock_s
        self._files: OrderedDict[str, _Kept] = OrderedDict()
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

    def put(self, name: str, file: BinaryIO) -> str:
        """Keeps a copy of a file; gives its token, the SHA-256 of what it is called and of what it holds."""
        size_bytes = file.seek(0, 2)
        file.seek(0)
        with self._lock:
            self._make_room(size_bytes)
            if self._folder is None:
                self._folder = TemporaryDirectory(prefix="specdb-")
            unnamed = Path(self._folder.name, "unnamed")
            # Of one content under two names a CSV file may be two sheets.
            digest = hashlib.sha256(f"{len(name)} {name}".encode())
            with unnamed.open("wb") as copy:
                while chunk := file.read(_CHUNK_BYTES):
                    digest.update(chunk)
                    copy.write(chunk)
            token = digest.hexdigest()
            path = unnamed.replace(unnamed.with_name(token))
            self._files[token] = _Kept(name, path, size_bytes, self._clock_s() + KEPT_S)
            self._files.move_to_end(token)
        return token

    def take(self, token: str) -> tuple[str, BinaryIO] | None:
        """What a file is called, and the file, open, to be closed by who takes it; None where it is not kept.

        It stays on the shelf.
        """
        self.drop_old()
        with self._lock:
            kept = self._files.get(token)
            return None if kept is None else (kept.name, kept.path.open("rb"))

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
