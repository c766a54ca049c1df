"""A real browser for tests: Debian's chromium through playwright; where there is none they are
skipped and say so."""

import shutil
from contextlib import contextmanager

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def browser():
    """A headless browser; skips where there is none."""
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright on this machine")
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield opened
        finally:
            opened.close()
