"""The service: ``serve`` and ``demo``."""

from __future__ import annotations

import errno
import ipaddress
import os
import socket
import sys
from typing import Annotated, Any

import typer

from specdb.cli.exchanging import progress
from specdb.cli.store import store
from specdb.errors import QuestionError, shown

LOOPBACK = "127.0.0.1"
ALLOW_WRITES = "SPECDB_ALLOW_WRITES"
HOSTS = "SPECDB_HOSTS"
HEADERS_AT_MOST_BYTES = 256 * 1024
"""Of a request's line and headers: a question in the address may be long."""

Port = Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")]

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    # Named by a text, since the core never imports the service.
    "filters": {"request": {"()": "api.tracing.RequestIdFilter"}},
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s [%(request_id)s] %(message)s"}},
    "handlers": {
        "error_output": {
            "class": "logging.StreamHandler",
            "stream": "ext://sys.stderr",
            "formatter": "line",
            "filters": ["request"],
        }
    },
    "loggers": {
        name: {"handlers": ["error_output"], "level": "INFO", "propagate": False}
        for name in ("uvicorn", "specdb", "python_multipart")
    }
    | {"uvicorn.error": {"level": "INFO"}},
}
"""Every line that is logged names the request it belongs to, "-" outside of any."""


def serve(
    port: Port = 8000,
    host: Annotated[
        str, typer.Option(help="Address to bind; the loopback address reaches this machine only.")
    ] = LOOPBACK,
    allow_writes: Annotated[
        bool, typer.Option("--allow-writes", help="Take imports from anyone who reaches the port.")
    ] = False,
) -> None:
    """Serve the pages and the API over the store.

    SPECDB_DATABASE_URL names the store.
    """
    with store():
        pass  # a store that cannot be used is said here, before the server starts
    _refuse_taken(host, port)
    if allow_writes:
        os.environ[ALLOW_WRITES] = "1"
    # A page that was opened by the name that is bound may import.
    os.environ[HOSTS] = f"{os.environ.get(HOSTS, '')} {host}"
    _run_server(host, port)


def _say_who_may(host: str, port: int) -> None:
    """What whoever starts the service must know about who can reach it, and what they can do."""
    warnings = []
    if os.environ.get(ALLOW_WRITES) == "1":
        warnings.append(f"Writes are allowed: anyone who reaches port {port} may import into the catalogue.")
    if not _is_loopback(host):
        warnings.append(f"{host} is reached from other machines too, without access control; put one before it.")
    for warning in warnings:
        print(f"specdb: {warning}", file=sys.stderr, flush=True)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _refuse_taken(host: str, port: int) -> None:
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except (OSError, UnicodeError) as error:
        why = getattr(error, "strerror", None) or str(error)
        is_host = isinstance(error, socket.gaierror | UnicodeError) or error.errno == errno.EADDRNOTAVAIL
        option = "--host" if is_host else "--port"
        raise QuestionError(
            f"The server cannot listen on {shown(host)} port {port}: {why}.",
            field=option,
            remedy=f"Choose another with {option}.",
        ) from None


def _run_server(host: str, port: int) -> None:
    import uvicorn

    _say_who_may(host, port)
    uvicorn.run(
        "api:app",
        host=host,
        port=port,
        log_config=LOGGING,
        http="h11",  # the limit below is one of its settings
        access_log=False,  # the service logs each request itself
        h11_max_incomplete_event_size=HEADERS_AT_MOST_BYTES,
    )


def demo(
    port: Port = 8000,
    load_only: Annotated[
        bool, typer.Option("--load-only", help="Load the catalogue and stop, without serving.")
    ] = False,
) -> None:
    """Load the invented demo catalogue and serve it.

    It has a store of its own, and what to try next is printed.
    """
    from specdb.catalog.store import ENVIRONMENT_VARIABLE
    from specdb.demo import demo_folder, demo_url, what_to_try

    os.environ[ENVIRONMENT_VARIABLE] = url = demo_url()
    from specdb.exchange import import_folder

    if not load_only:
        _refuse_taken(LOOPBACK, port)
    with store(create=True) as engine, progress("loading") as advance:
        import_folder(engine, demo_folder(), actor="specdb demo", reason="the demo catalogue", progress=advance)
    print(what_to_try(url, None if load_only else f"http://{LOOPBACK}:{port}", sys.argv[0]), flush=True)
    if not load_only:
        _run_server(LOOPBACK, port)
