"""Makes the pictures in the README: the demo's charge, and its page on a telephone at noon. Run it
from the top of the checkout; the page needs Debian's chromium.

python tests/readme_picture.py
"""

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "tests" / "shared")]

from browser import browser  # noqa: E402
from PIL import Image  # noqa: E402

from energy import Plan, check, page  # noqa: E402

TARGET, ON_A_TELEPHONE = (ROOT / "notebooks" / name for name in ("cloudy-repair.png", "page.png"))
NOON = datetime(2026, 9, 14, 20, tzinfo=UTC)  # on the clock of the demo
TELEPHONE = {"width": 360, "height": 640}


def main() -> None:
    plan = Plan.read("builtin:cloudy-repair")
    figure = check(plan).plot()
    figure.savefig(TARGET, dpi=80, pil_kwargs={"optimize": True})
    with tempfile.TemporaryDirectory() as folder:
        page(plan).write(file := Path(folder) / "page.html")
        photograph(file, ON_A_TELEPHONE)
    for target in (TARGET, ON_A_TELEPHONE):
        print(f"{target}: {target.stat().st_size // 1024} kB")


def photograph(file: Path, target: Path) -> None:
    """The first screen of a page at noon."""
    with browser() as chromium:
        context = chromium.new_context(viewport=TELEPHONE, device_scale_factor=2)
        shown = context.new_page()
        shown.clock.install(time=NOON)
        shown.goto(file.as_uri())
        shown.clock.run_for(1000)
        shown.screenshot(path=target)
    Image.open(target).convert("P", palette=Image.Palette.ADAPTIVE).save(target, optimize=True)


if __name__ == "__main__":
    main()
