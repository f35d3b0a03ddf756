"""The service and a browser to look at it with.

Chromium comes from ``CHROMIUM``, else from the path. Without one these tests are skipped, but where ``CI`` is set they
fail. The browser lives while tests of this folder follow one another and no longer: the loop that drives it occupies
the thread, in which other tests run loops of their own.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from playwright.sync_api import Browser, sync_playwright

from api import create_app
from specdb.catalog.store import open_store
from specdb.demo import demo_folder
from specdb.exchange import import_folder
from tests.browser import hostile
from tests.browser.serving import served
from tests.browser.watching import Tab

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
SWITCHES = (
    "--disable-gpu", "--disable-dev-shm-usage", "--disable-quic", "--disable-sync", "--disable-background-networking",
    "--disable-component-update", "--no-first-run",
)  # fmt: skip
MOST_SECONDS = 30
"""For anything that a page is waited for."""


def _chromium() -> str:
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, PROGRAMS)), None)
    if found:
        return found
    reason = f"no Chromium: set CHROMIUM or put one of {', '.join(PROGRAMS)} on the path (Debian: chromium)"
    if os.environ.get("CI"):
        pytest.fail(f"{reason}; in CI the tests in a browser must run")
    pytest.skip(reason)


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    program = _chromium()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=program, args=list(SWITCHES))
        yield started
        started.close()


@pytest.fixture(scope="session")
def hostile_store(demo_store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the demo catalogue and the hostile one. To be read only."""
    folder = tmp_path_factory.mktemp("browser")
    file = Path(shutil.copy(str(sa.make_url(demo_store_url).database), folder / "store.sqlite"))
    engine = open_store(f"sqlite:///{file}")
    texts = hostile.TEXTS
    import_folder(
        engine, hostile.write(demo_folder(), folder / "hostile"), actor=texts["script"], reason=texts["turned"]
    )
    engine.dispose()
    return file


@pytest.fixture(scope="package")
def address(hostile_store: Path) -> Iterator[str]:
    """Address of the service over the hostile store; it takes no imports."""
    with served(create_app(f"sqlite:///{hostile_store}", allow_writes=False)) as started:
        yield started


@pytest.fixture
def writable_address(hostile_store: Path, tmp_path: Path) -> Iterator[str]:
    """Address of a service that takes imports, over a copy of the hostile store."""
    file = shutil.copy(hostile_store, tmp_path / "store.sqlite")
    with served(create_app(f"sqlite:///{file}", allow_writes=True)) as started:
        yield started


@pytest.fixture
def open_tab(browser: Browser) -> Iterator[Callable[..., Tab]]:
    """Opens a tab at an address of the service, with what Playwright knows of a context. When the test ends, nothing
    may have gone wrong in any tab but what the test took note of."""
    tabs: list[Tab] = []

    def opened(address: str, **options: object) -> Tab:
        context = browser.new_context(base_url=address, **{"viewport": {"width": 1100, "height": 800}} | options)
        context.set_default_timeout(MOST_SECONDS * 1000)
        tabs.append(Tab(context.new_page(), address))
        return tabs[-1]

    yield opened
    troubles = [trouble for tab in tabs for trouble in tab.close()]
    assert not troubles


@pytest.fixture
def tab(open_tab: Callable[..., Tab], address: str) -> Tab:
    return open_tab(address)
