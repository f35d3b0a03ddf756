"""Work that takes minutes: only so much of it at once, and none for a caller that has gone away."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Mapping
from tempfile import TemporaryFile
from threading import Event, Lock
from typing import BinaryIO, cast

from fastapi import HTTPException, Request
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect
from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send
from typing_extensions import override

AT_ONCE = 2
"""Pieces of long work that a service does at once: each takes a processor, and questions are answered beside them."""

RETRY_AFTER_S = 30
LOOKED_AFTER_S = 0.5
"""How often it is looked whether the caller is still there."""
CHUNK_BYTES = 1 << 16

class Places:
    """Places for long work."""

    def __init__(self, count: int = AT_ONCE):
        self._free = count
        self._lock = Lock()

    def take(self) -> Place:
        """A place, to be given back. Raises HTTPException (503) where none is free."""
        with self._lock:
            if self._free == 0:
                busy = f"As many long questions as the service takes at once, {AT_ONCE}, are being answered."
                raise HTTPException(503, f"{busy} Ask again in a while.", {"Retry-After": str(RETRY_AFTER_S)})
            self._free -= 1
        return Place(self)

    def give_back(self) -> None:
        with self._lock:
            self._free += 1


class Place:
    """A place that is taken until it is given back, once."""

    def __init__(self, places: Places):
        self._places: Places | None = places

    def give_back(self) -> None:
        places, self._places = self._places, None
        if places is not None:
            places.give_back()


class Streamed(StreamingResponse):
    """An answer that is sent while it is worked out, until the caller goes away. A failure midway breaks it off, so
    that half of it does not look whole. However it ends, ``ended`` is called."""

    def __init__(self, pieces: Iterator[bytes], ended: Callable[[], None], headers: Mapping[str, str]):
        super().__init__(pieces, headers=headers)
        self._ended = ended

    @override
    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._ended()


async def written(request: Request, write: Callable[[BinaryIO, Callable[[], None]], None]) -> BinaryIO:
    """A temporary file that ``write`` has written, read from its beginning. As it works it calls its second argument,
    which ends the work where the caller has gone away.

    Raises ClientDisconnect then, and what ``write`` raises.
    """
    file, gone = cast(BinaryIO, TemporaryFile()), Event()  # noqa: SIM115 - closed by who gets it

    async def look() -> None:
        while not await request.is_disconnected():
            await asyncio.sleep(LOOKED_AFTER_S)
        gone.set()

    def go_on() -> None:
        if gone.is_set():
            raise ClientDisconnect

    looking = asyncio.create_task(look())
    try:
        await run_in_threadpool(write, file, go_on)
    except BaseException:
        file.close()
        raise
    finally:
        looking.cancel()
    file.seek(0)
    return file


def chunks(file: BinaryIO) -> Iterator[bytes]:
    """What is in a file, from where it stands."""
    while chunk := file.read(CHUNK_BYTES):
        yield chunk
