"""The words people have for a sky, and how much light each stands for.

The share of a clear sky's light under eighths of cloud is a formula of `model.sun`; its figures
stand here for people to read, and tests hold the two together. What falls from a sky, or lies in
it, has no eighths: its share stands here alone.
"""

from typing import NamedTuple

FORMULA = "Kasten & Czeplak, Solar Energy 24 (1980) 177"
PRACTICE = "common practice, no source"


class Sky(NamedTuple):
    """Eighths of cloud, the mean share of a clear sky's light [%], and where that comes from."""

    eighths: int
    light_percent: float
    source: str = FORMULA


SKIES = {
    "clear": Sky(0, 100.0),
    "sunny": Sky(0, 100.0),
    "few": Sky(2, 99.3),
    "fair": Sky(2, 99.3),
    "scattered": Sky(4, 92.9),
    "partly": Sky(4, 92.9),
    "broken": Sky(6, 71.8),
    "cloudy": Sky(6, 71.8),
    "overcast": Sky(8, 25.0),
    "grey": Sky(8, 25.0),
    "drizzle": Sky(8, 20.0, PRACTICE),
    "fog": Sky(8, 20.0, PRACTICE),
    "rain": Sky(8, 15.0, PRACTICE),
}
DARKER = tuple(word for word, sky in SKIES.items() if sky.source == PRACTICE)
