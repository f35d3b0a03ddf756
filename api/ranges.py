"""Parts of an answer (RFC 9110, section 14), and the answers that parts were lately taken of.

Programs that read tables from an address ask for their length first and then for one range of bytes after another.
An answer is made once for all of these.
"""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from threading import Lock

from fastapi import HTTPException, Request, Response

KEPT_BYTES = 32 << 20
"""Most that the answers that are kept may weigh together."""

_RANGE = re.compile(r"bytes\s*=\s*([0-9]{0,18})\s*-\s*([0-9]{0,18})", re.IGNORECASE)


@dataclass(frozen=True)
class Given:
    """An answer to GET with its headers, ``ETag`` among them."""

    body: bytes
    headers: Mapping[str, str]

    def to(self, request: Request) -> Response:
        """The whole, or the range of bytes that was asked for of this very answer. A header that asks for several
        ranges, or for anything but bytes, is passed over, as it may be. Raises a problem of status 416 for a range
        that holds none of its bytes."""
        headers = {**self.headers, "Accept-Ranges": "bytes"}
        stated = _RANGE.fullmatch(request.headers.get("range", "").strip())
        wanted = request.headers.get("if-range", self.headers["ETag"]).strip()
        if stated is None or wanted != self.headers["ETag"]:
            return Response(self.body, headers=headers)
        part = _bytes_of(stated[1], stated[2], len(self.body))
        if part is None:
            return Response(self.body, headers=headers)
        if not part:
            whole = {"Content-Range": f"bytes */{len(self.body)}"}
            raise HTTPException(416, f"The answer has {len(self.body)} bytes, and none of them is asked for.", whole)
        headers["Content-Range"] = f"bytes {part.start}-{part.stop - 1}/{len(self.body)}"
        return Response(self.body[part.start : part.stop], 206, headers)


def _bytes_of(first: str, last: str, length: int) -> range | None:
    """The bytes from ``first`` to ``last``, without the one to the end, without the other the ``last`` so many; None
    where that is no range."""
    if not first:
        return range(max(length - int(last), 0), length) if last else None
    if last and int(last) < int(first):
        return None
    return range(int(first), min(int(last) + 1, length) if last else length)


class GivenLately:
    """The answers of which most was lately asked, by what names each; the ones left alone longest go first."""

    def __init__(self, most_bytes: int = KEPT_BYTES):
        self._most_bytes = most_bytes
        self._kept: OrderedDict[tuple[str, ...], Given] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()

    def get(self, name: tuple[str, ...]) -> Given | None:
        with self._lock:
            if name in self._kept:
                self._kept.move_to_end(name)
            return self._kept.get(name)

    def keep(self, name: tuple[str, ...], given: Given) -> None:
        with self._lock:
            if name in self._kept or len(given.body) > self._most_bytes:
                return
            self._kept[name] = given
            self._bytes += len(given.body)
            while self._bytes > self._most_bytes:
                self._bytes -= len(self._kept.popitem(last=False)[1].body)
