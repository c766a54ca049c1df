"""Makes the picture in the README: the demo's charge, small. Run it from the top of the checkout.

python tests/readme_picture.py
"""

from pathlib import Path

from energy import Plan, check

TARGET = Path(__file__).parents[1] / "notebooks" / "cloudy-repair.png"


def main() -> None:
    figure = check(Plan.read("builtin:cloudy-repair")).plot()
    figure.savefig(TARGET, dpi=80, pil_kwargs={"optimize": True})
    print(f"{TARGET}: {TARGET.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
