"""A real browser: Debian's chromium through playwright. Tests in it take minutes, and are skipped
but where ENERGY_BROWSER=required."""

import os
import shutil
from contextlib import contextmanager

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def browser_of_tests():
    """A headless browser; skips where none is asked for."""
    if os.environ.get("ENERGY_BROWSER") != "required":
        pytest.skip("ENERGY_BROWSER=required runs it, in chromium")
    with browser() as opened:
        yield opened


@contextmanager
def browser():
    """A headless browser."""
    assert CHROMIUM is not None, "no chromium on this machine"
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright on this machine")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield opened
        finally:
            opened.close()
