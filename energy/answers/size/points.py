"""Which size a sensible person would take, and a few others that there may be a reason for."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from energy.answers.size.costs import Costs
from energy.answers.size.figures import size_text
from energy.answers.size.frontier import Frontier


@dataclass(frozen=True)
class Point:
    """A size [W, Wh] that reaches a goal [percent], what speaks for it, and what panels and pack
    weigh [kg] and cost together."""

    panel_w: float
    battery_wh: float
    goal: float
    kg: float
    price: float
    why: str

    @property
    def sizes(self) -> tuple[float, float]:
        """Its panels [W] and its pack [Wh]."""
        return self.panel_w, self.battery_wh


def points_at(frontier: Frontier, goal: float, costs: Costs) -> list[Point]:
    """The smallest pack at each panel size at which one reaches the goal; nothing speaks for any
    yet."""
    return [
        Point(watts, label, goal, costs.kg(watts, label), costs.price(watts, label), "")
        for watts, label in zip(frontier.panel_w.tolist(), frontier.battery_wh(goal), strict=True)
        if label is not None
    ]


def pick_of(frontier: Frontier, goal: float, costs: Costs) -> Point | None:
    """The size at which weight and price, each against the best there is, are least together."""
    points = points_at(frontier, goal, costs)
    if not points:
        return None
    kg, price = (
        np.array(values) for values in zip(*((p.kg, p.price) for p in points), strict=True)
    )
    k = int(np.argmin(kg / max(kg.min(), 1e-9) + price / max(price.min(), 1e-9)))
    pick, neighbours = points[k], points[max(k - 1, 0) : k] + points[k + 1 : k + 2]
    words = "; ".join(_compared(pick, neighbour) for neighbour in neighbours)
    why = (
        f"Of all that reach {goal:g} % it has the best of weight and price together"
        f"{': ' if words else ''}{words}"
    )
    if k == len(points) - 1 and len(points) > 1:
        why += "; the range of panels ends here, larger ones may be better still"
    if pick.battery_wh == frontier.floor_wh:
        why += (
            f"; {size_text(pick.battery_wh)} Wh is the smallest pack looked at: smaller ones may do"
        )
    return replace(pick, why=why)


def _compared(pick: Point, other: Point) -> str:
    """What another panel size would change.

    >>> pick = Point(300.0, 900.0, 90.0, 24.0, 840.0, "")
    >>> _compared(pick, Point(400.0, 880.0, 90.0, 28.8, 928.0, ""))
    '100 W more panel saves only 20 Wh of pack: 4.8 kg and 88 in price more'
    """
    watts, label = other.panel_w - pick.panel_w, other.battery_wh - pick.battery_wh
    pack = f"{size_text(abs(label))} Wh" if abs(label) >= 0.5 else ""
    if watts > 0.0:
        saves = f"only {pack} of pack" if pack else "no pack"
        text = f"{size_text(watts)} W more panel saves {saves}"
    else:
        text = f"{size_text(-watts)} W less panel needs {pack or 'no'} more pack"
    kg, price = other.kg - pick.kg, other.price - pick.price
    heavier, dearer = ("more" if value > 0.0 else "less" for value in (kg, price))
    weight = f"{abs(kg):.1f} kg" if heavier == dearer else f"{abs(kg):.1f} kg {heavier}"
    return f"{text}: {weight} and {abs(price):.0f} in price {dearer}"


def points_of(frontier: Frontier, pick: Point, costs: Costs) -> tuple[Point, ...]:
    """The pick, and the few sizes beside it that someone may have a reason for; each size once."""
    points: dict[tuple[float, float], Point] = {}
    for point in _wished(frontier, pick, costs):
        listed = points.get(point.sizes)
        if listed is None:
            points[point.sizes] = point
        else:
            why = listed.why if point.why == "surer" else f"{listed.why}, {point.why}"
            goal = max(listed.goal, point.goal)
            points[point.sizes] = replace(listed, why=why, goal=goal)
    return tuple(points.values())


def _wished(frontier: Frontier, pick: Point, costs: Costs) -> Iterator[Point]:
    """The pick, the best by each measure, and with the pick's panels the packs that are surer."""
    points = points_at(frontier, pick.goal, costs)
    small = min(points, key=lambda p: p.battery_wh)
    looked_at = " looked at" if small.battery_wh == frontier.floor_wh else ""
    yield replace(pick, why="the pick")
    yield replace(min(points, key=lambda p: p.kg), why="lightest")
    yield replace(min(points, key=lambda p: p.price), why="cheapest")
    yield replace(min(points, key=lambda p: p.panel_w), why="least panel")
    yield replace(small, why=f"smallest pack{looked_at}")
    for goal in frontier.goals:
        for point in points_at(frontier, goal, costs) if goal > pick.goal else ():
            if point.panel_w == pick.panel_w:
                yield replace(point, why="surer")
