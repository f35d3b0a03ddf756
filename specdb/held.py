"""A hold on the store: one engine, and the views of the catalogue that have been asked for."""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock, Thread
from typing import Generic, TypeVar

import sqlalchemy as sa

from specdb.catalog.listing import Wanted
from specdb.catalog.reading import load_snapshot
from specdb.catalog.revisions import AsOf, current_revision, mark_of, revision_as_of
from specdb.catalog.search import SearchIndex
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import read_session
from specdb.duty import Assumptions, Question, Requirement
from specdb.errors import StoreUnreachableError
from specdb.finding import Found, find_elements
from specdb.shortlist import Shortlist, Shortlister

STATES_KEPT = 4
"""The current state and a few earlier ones; each may be as large as the catalogue."""

LISTS_KEPT = 16
"""Lists that were judged last, for their next pages: at most 8 bytes for each element of the catalogue."""

SHORTLISTS_KEPT = 16
"""Of the best few candidates of a question, those found last: some MB each where the elements have many ratings."""

FEW_PLACES = 3
"""Candidates that are found at once."""

_View = TypeVar("_View")
_log = logging.getLogger("specdb")


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
        self._lists: OrderedDict[object, Found] = OrderedDict()
        self._of_lists = Lock()
        self._shortlister: Shortlister | None = None
        self._shortlists: OrderedDict[object, Shortlist] = OrderedDict()
        self._of_shortlists = Lock()
        self._file = self._identity()

    def state(self, as_of: AsOf | None = None) -> State:
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
                "The file of the store is gone.", remedy="Put it back, or import into it again, and open it anew."
            ) from None
        if replaced:
            raise StoreUnreachableError(
                "The file of the store was replaced by another.", remedy="Open it anew to read what is there now."
            )

    def snapshot(self, revision: int) -> Snapshot:
        """The catalogue as it was at a revision that there is."""
        return self._snapshots.at(revision)

    def best(self, revision: int, question: Question, count: int) -> Shortlist:
        """At least the ``count`` best candidates at a revision that there is, as far as there are so many, as
        :meth:`specdb.shortlist.Shortlister.best` finds them.

        What it finds is kept, for a question that is asked place by place, and what it judges for the next question.
        """
        snapshot, count = self.snapshot(revision), max(count, FEW_PLACES)
        asked = (revision, count, question.model_dump_json())
        with self._of_shortlists:
            if asked not in self._shortlists:
                if self._shortlister is None or self._shortlister.snapshot is not snapshot:
                    self._shortlister = Shortlister(snapshot)
                self._shortlists[asked] = self._shortlister.best(question, count)
                if len(self._shortlists) > SHORTLISTS_KEPT:
                    self._shortlists.popitem(last=False)
            self._shortlists.move_to_end(asked)
            return self._shortlists[asked]

    def find_elements(
        self, snapshot: Snapshot, wanted: Wanted, requirements: Sequence[Requirement], assumptions: Assumptions
    ) -> Found:
        """As :func:`specdb.finding.find_elements`, of one of this catalogue's snapshots: a page that follows another is
        not judged anew."""
        asked = (snapshot.revision, repr(wanted), tuple(requirements), assumptions)
        with self._of_lists:
            if asked in self._lists:
                self._lists.move_to_end(asked)
                return self._lists[asked]
        found = find_elements(snapshot, wanted, requirements, assumptions)
        with self._of_lists:
            self._lists[asked] = found
            if len(self._lists) > LISTS_KEPT:
                self._lists.popitem(last=False)
        return found

    def search_index(self, revision: int) -> SearchIndex:
        """What can be searched for as of a revision that there is."""
        return self._indexes.at(revision)
