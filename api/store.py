"""The service's hold on the store: one engine, and the columnar views that have been asked for."""

from __future__ import annotations

from collections import OrderedDict
from pathlib import Path
from threading import Lock
from typing import Annotated

import sqlalchemy as sa
from fastapi import Depends, Request

from specdb.catalog.reading import load_snapshot
from specdb.catalog.revisions import current_revision, revision_as_of
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import read_session
from specdb.errors import StoreUnreachableError

SNAPSHOTS_KEPT = 4
"""The current state and a few earlier ones; each may be as large as the catalogue."""


class Catalogue:
    """Reads the store; a state of it, once loaded, is kept for the next question."""

    def __init__(self, engine: sa.Engine):
        self.engine = engine
        self._kept: OrderedDict[int, Snapshot] = OrderedDict()
        self._lock = Lock()

    def revision(self, as_of: str | None = None) -> int:
        """Raises QuestionError and NotOnFileError as :func:`specdb.catalog.revisions.revision_as_of`."""
        self._refuse_vanished()
        with read_session(self.engine) as connection:
            return current_revision(connection) if as_of is None else revision_as_of(connection, as_of)

    def _refuse_vanished(self) -> None:
        """An open SQLite file goes on answering after it was removed: what it says is on file no more."""
        file = self.engine.url.database
        if self.engine.dialect.name == "sqlite" and file != ":memory:" and not Path(str(file)).exists():
            raise StoreUnreachableError(
                "The file of the store is gone.", remedy="Put it back, or import into it again, and start the service."
            )

    def snapshot(self, as_of: str | None = None) -> Snapshot:
        revision = self.revision(as_of)
        # Held while loading, so that many first questions load one state once.
        with self._lock:
            if revision not in self._kept:
                with read_session(self.engine) as connection:
                    self._kept[revision] = load_snapshot(connection, revision)
                if len(self._kept) > SNAPSHOTS_KEPT:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(revision)
            return self._kept[revision]


def _catalogue(request: Request) -> Catalogue:
    catalogue: Catalogue = request.app.state.catalogue
    return catalogue


CatalogueNeeded = Annotated[Catalogue, Depends(_catalogue)]
