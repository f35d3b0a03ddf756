"""Starts the program over and over at little cost, for tests that call it dozens of times.

A server loads the program once and forks for each call; ``specdb`` on the path is a few lines that hand the
call over: its words, folder, environment and the three standard streams. What runs is the program's own
``main``, in a process of its own that ends with the exit status of the call. That the installed program starts by
itself is tested in ``tests/cli/test_processes.py``, as is whatever depends on how it starts or on signals.
"""

from __future__ import annotations

import gc
import importlib
import json
import os
import pkgutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_CALL = """\
#!{python} -IS
import json, os, socket, sys
with socket.socket(socket.AF_UNIX) as server:
    server.connect({address!r})
    call = json.dumps([sys.argv, os.getcwd(), dict(os.environ)]).encode()
    socket.send_fds(server, [len(call).to_bytes(8, "big")], [0, 1, 2])
    server.sendall(call)
    told = server.recv(1)
sys.exit(told[0] if told else "the program ended without a status")
"""

_LOADED_BY_COMMANDS = ("alembic.command", "chemicals", "matplotlib.backends.backend_svg", "pandas", "rich.progress")
"""What no module of ours loads before it is needed."""
_WITHOUT_THREADS = {
    "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "JE_ARROW_MALLOC_CONF": "background_thread:false",
}  # fmt: skip
"""A process with threads must not fork, and says so."""


@contextmanager
def quick_program(folder: Path) -> Iterator[Path]:
    """The program, in ``folder``; while this lasts it starts quickly."""
    address = folder / "calls"
    program = folder / "specdb"
    program.write_text(_CALL.format(python=sys.executable, address=str(address)), encoding="utf-8")
    program.chmod(0o755)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(address))
        listening.listen()
        server = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "tests.starting", str(listening.fileno())],
            pass_fds=[listening.fileno()],
            cwd=Path(__file__).parents[1],
            env=os.environ | _WITHOUT_THREADS,
        )
        try:
            yield program
        finally:
            server.terminate()
            server.wait()


def _serve(listening: socket.socket) -> None:
    import specdb
    from specdb import units

    for module in pkgutil.walk_packages(specdb.__path__, "specdb."):
        if "migrations" not in module.name:  # those are run where they are loaded
            importlib.import_module(module.name)
    for name in _LOADED_BY_COMMANDS:
        importlib.import_module(name)
    units.factor("bar", "pressure")  # the registry of units is made once, when a unit is first converted
    gc.freeze()  # so that nobody who is forked copies it
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for those who have answered
    while True:
        connection, _ = listening.accept()
        if os.fork() == 0:
            listening.close()
            _answer(connection)
        connection.close()


def _answer(connection: socket.socket) -> None:
    """Run one call as a process of its own, and end."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    length, streams, _, _ = socket.recv_fds(connection, 8, 3)
    call = b""
    while len(call) < int.from_bytes(length, "big"):
        call += connection.recv(1 << 16)
    sys.argv, folder, environment = json.loads(call)
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        os.dup2(streams[number], number)
        os.close(streams[number])
        setattr(sys, name, os.fdopen(number, mode, encoding=os.environ.get("PYTHONIOENCODING"), closefd=False))
    status = 1
    try:
        from specdb.cli import main

        main()
    except SystemExit as ending:
        status = ending.code if isinstance(ending.code, int) else int(ending.code is not None)
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        connection.sendall(bytes([status]))
        os._exit(0)


if __name__ == "__main__":
    _serve(socket.socket(fileno=int(sys.argv[1])))
