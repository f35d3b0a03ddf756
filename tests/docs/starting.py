"""Starts the program over and over at little cost, for pages that call it dozens of times.

A server loads the program once and forks for each call; ``specdb`` on the path is a few lines that hand the
call over: its words, folder, environment and the three standard streams. What runs is the program's own
``main``; that the installed program starts by itself is tested in ``tests/cli``.
"""

from __future__ import annotations

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
    sys.exit(server.recv(1)[0])
"""


@contextmanager
def quick_program(folder: Path) -> Iterator[Path]:
    """A folder for the path that holds ``specdb``; in it while this lasts, the program starts quickly."""
    address = folder / "calls"
    program = folder / "specdb"
    program.write_text(_CALL.format(python=sys.executable, address=str(address)), encoding="utf-8")
    program.chmod(0o755)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(address))
        listening.listen()
        server = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "tests.docs.starting", str(listening.fileno())],
            pass_fds=[listening.fileno()],
            cwd=Path(__file__).parents[2],
            # A process with threads must not fork, and says so.
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
        )
        try:
            yield folder
        finally:
            server.terminate()
            server.wait()


def _serve(listening: socket.socket) -> None:
    # The modules that commands load when they are called, loaded once.
    import specdb.answers
    import specdb.calculations
    import specdb.exchange
    import specdb.printing
    import specdb.ranking

    for module in pkgutil.iter_modules(specdb.printing.__path__, "specdb.printing."):
        importlib.import_module(module.name)
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
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        os.dup2(streams[number], number)
        os.close(streams[number])
        setattr(sys, name, os.fdopen(number, mode, closefd=False))
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
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
