"""A filter element spec database: ratings kept as evidence, carried to a duty, judged and ranked.

A script begins with :func:`specdb.open`, which reads a store in this process, or :func:`specdb.connect`, which asks a
service; both give a :class:`specdb.Catalogue`. Underneath stand :mod:`specdb.ranking` (``rank(question, snapshot)``),
:mod:`specdb.catalog.reading` (``load_snapshot``) and :mod:`specdb.exchange` (``import_folder``).
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from specdb.errors import (
    ConditionsError,
    InputError,
    NotOnFileError,
    QuantityError,
    QuestionError,
    ServiceBusyError,
    ServiceUnreachableError,
    SpecdbError,
    StoreError,
    StoreUnreachableError,
)

if TYPE_CHECKING:
    from specdb.client.catalogue import AsOf, Catalogue, Duty, Lines, Named
    from specdb.client.service import connect
    from specdb.client.store import open

__all__ = [
    "AsOf",
    "Catalogue",
    "ConditionsError",
    "Duty",
    "InputError",
    "Lines",
    "Named",
    "NotOnFileError",
    "QuantityError",
    "QuestionError",
    "ServiceBusyError",
    "ServiceUnreachableError",
    "SpecdbError",
    "StoreError",
    "StoreUnreachableError",
    "connect",
    "open",
]

_HOME = {
    **dict.fromkeys(("AsOf", "Catalogue", "Duty", "Lines", "Named"), "catalogue"),
    "connect": "service",
    "open": "store",
}
"""Module of each name: loaded when it is first asked for, since the program itself uses none of them."""


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.client.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
