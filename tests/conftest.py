"""What all tests share: steady examples, and a real browser for the pages.

The browser is Debian's Chromium without a window, driven by Playwright.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# The same examples on every run, so that neither chance nor a busy machine breaks one.
# HYPOTHESIS_PROFILE=search looks for new ones.
settings.register_profile(
    "steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))

#: No name is resolved, so that nothing leaves the machine whatever a page or the browser asks for; a server
#: of a test is reached by its number.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium with an empty profile of its own; skips where it is not installed."""
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("chromium is not installed; scripts/browser installs it")
    from playwright.sync_api import sync_playwright

    assert Path(chromium).exists()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, headless=True, args=list(FLAGS))
        yield started
        started.close()
