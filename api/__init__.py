"""The HTTP service. ``api:app`` is the ASGI application over the store that ``SPECDB_DATABASE_URL`` names."""

from __future__ import annotations

from api.app import create_app

__all__ = ["app", "create_app"]

app = create_app(ahead=True)
