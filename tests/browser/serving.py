"""A service that is reached through a port, as a browser needs it."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """Address of the service while it runs, in a thread of its own."""
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none", lifespan="on"))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started and thread.is_alive():
            time.sleep(0.01)
        try:
            assert server.started, "the service did not start"
            yield "http://{}:{}".format(*listening.getsockname())
        finally:
            server.should_exit = True
            thread.join()
