"""The service's hold on the store: one engine, and the columnar views that have been asked for."""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from threading import Lock, Thread
from typing import Annotated, Generic, TypeVar

import sqlalchemy as sa
from fastapi import Depends, Request

from specdb.catalog.reading import load_snapshot
from specdb.catalog.revisions import current_revision, mark_of, revision_as_of
from specdb.catalog.search import SearchIndex
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import read_session
from specdb.errors import StoreUnreachableError

STATES_KEPT = 4
"""The current state and a few earlier ones; each may be as large as the catalogue."""

_View = TypeVar("_View")
_log = logging.getLogger("specdb.api")


@dataclass(frozen=True)
class State:
    """A state of the catalogue: the number of its last revision, and a mark that differs between states and stores."""

    revision: int
    mark: str


class _Kept(Generic[_View]):
    """Views of a few states, each loaded when it is first asked for."""

    def __init__(self, engine: sa.Engine, load: Callable[[sa.Connection, int], _View]):
        self._engine = engine
        self._load = load
        self._views: OrderedDict[int, _View] = OrderedDict()
        self._lock = Lock()

    def at(self, revision: int) -> _View:
        # Held while loading, so that many first questions load one state once.
        with self._lock:
            if revision not in self._views:
                with read_session(self._engine) as connection:
                    self._views[revision] = self._load(connection, revision)
                if len(self._views) > STATES_KEPT:
                    self._views.popitem(last=False)
            self._views.move_to_end(revision)
            return self._views[revision]


class Catalogue:
    """Reads the store; a state of it, once loaded, is kept for the next question. ``ahead`` is whether the current
    state is loaded before anybody asks, so that nobody waits for it."""

    def __init__(self, engine: sa.Engine, *, ahead: bool = False):
        self.engine = engine
        self._ahead = ahead
        self._snapshots = _Kept(engine, load_snapshot)
        self._indexes = _Kept(engine, SearchIndex.of)
        self._file = self._identity()

    def state(self, as_of: str | None = None) -> State:
        """The current state, or the one that ``as_of`` names.

        Raises QuestionError and NotOnFileError as :func:`specdb.catalog.revisions.revision_as_of`.
        """
        self._refuse_vanished()
        with read_session(self.engine) as connection:
            revision = current_revision(connection) if as_of is None else revision_as_of(connection, as_of)
            return State(revision, mark_of(connection, revision))

    def load_ahead(self) -> None:
        """Load the current state beside all else, where that is wanted: at the start, and after each import."""
        if self._ahead:
            Thread(target=self._load, name="loading", daemon=True).start()

    def _load(self) -> None:
        try:
            revision = self.state().revision
            self.search_index(revision)
            self.snapshot(revision)
        except Exception:  # whoever asks next is told what is wrong
            _log.warning("the store could not be loaded ahead", exc_info=True)

    def _identity(self) -> tuple[int, int] | None:
        """What the file system knows the store's file by, None for a database that is no file."""
        file = self.engine.url.database
        if self.engine.dialect.name != "sqlite" or file in (None, "", ":memory:"):
            return None
        found = Path(str(file)).stat()
        return found.st_dev, found.st_ino

    def _refuse_vanished(self) -> None:
        """An open SQLite file goes on answering after it was removed or replaced: what it says is on file no more."""
        try:
            replaced = self._identity() != self._file
        except OSError:
            raise StoreUnreachableError(
                "The file of the store is gone.", remedy="Put it back, or import into it again, and start the service."
            ) from None
        if replaced:
            raise StoreUnreachableError(
                "The file of the store was replaced by another.", remedy="Start the service again to read the new one."
            )

    def snapshot(self, revision: int) -> Snapshot:
        """The catalogue as it was at a revision that there is."""
        return self._snapshots.at(revision)

    def search_index(self, revision: int) -> SearchIndex:
        """What can be searched for as of a revision that there is."""
        return self._indexes.at(revision)


async def _catalogue(request: Request) -> Catalogue:
    catalogue: Catalogue = request.app.state.catalogue
    return catalogue


CatalogueNeeded = Annotated[Catalogue, Depends(_catalogue)]
