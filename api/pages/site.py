"""What all pages have in common: templates, the files they are shown with, and the headers they are sent with."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from api.pages.addresses import BEGUN_ANEW, TITLES, Asked
from specdb.sheet.unseen import is_unseen, plain

_FOLDER = Path(__file__).parent
STATIC = _FOLDER / "static"
TEMPLATES = _FOLDER / "templates"

PAGE_HEADERS = {
    # No script and no style but our own files: a text from a catalogue can be shown and do nothing.
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}

_NUMBERED = Markup('<span class="unseen">U+{:04X}</span>')


def seen(text: object) -> Markup:
    """A text from outside, set apart from what stands around it, whichever way it is written; what cannot be seen of it
    is shown by its number."""
    whole = str(text)
    if whole.isprintable():  # nothing is unseen, as in most texts
        shown = escape(whole)
    else:
        shown = Markup("").join(_NUMBERED.format(ord(c)) if is_unseen(c) else escape(c) for c in whole)
    return Markup("<bdi>") + shown + Markup("</bdi>")


@cache
def _digest(name: str) -> str:
    return hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]


def static(name: str) -> str:
    """The address of a file that pages are shown with; it changes with what is in it, so that browsers may keep it."""
    return f"/static/{name}?v={_digest(name)}"


@cache
def look() -> str:
    """A mark that changes whenever any template or file does."""
    files = sorted(path for folder in (STATIC, TEMPLATES) for path in folder.iterdir())
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()[:16]


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.filters |= {"seen": seen, "plain": plain}
    made.globals |= {"static": static, "titles": TITLES, "begun_anew": BEGUN_ANEW}
    return made


def render(template: str, asked: Asked, context: Mapping[str, Any] | None = None) -> str:
    """A page as HTML. Templates get ``asked`` and what ``context`` names; a name that is missing raises."""
    return _environment().get_template(template).render(asked=asked, **(context or {}))
