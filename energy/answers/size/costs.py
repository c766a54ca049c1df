"""What panels and pack weigh and cost, in straight lines over their size.

A plan's own figures count where it has them; else common practice, and the answer says so. Prices
of single things are for `kits`.
"""

from dataclasses import dataclass

from energy.answers.size.designs import panel_watts
from energy.plan import Plan

# Common practice, no source: whole packs with their inverter, panels with their frame or cloth;
# US dollars of the middle 2020s.
KG_PER_PANEL_W, PRICE_PER_PANEL_W = 0.05, 1.0
KG_PER_WH = {"lfp": 1.0 / 75.0, "nmc": 1.0 / 90.0, "agm": 1.0 / 35.0, "flooded": 1.0 / 40.0}
PRICE_PER_WH = {"lfp": 0.6, "nmc": 0.7, "agm": 0.25, "flooded": 0.2}


@dataclass(frozen=True)
class Costs:
    """Weight [kg] and price per watt of panel and watt-hour of pack; assumed names what is common
    practice rather than the plan's."""

    kg_per_w: float
    kg_per_wh: float
    price_per_w: float
    price_per_wh: float
    assumed: tuple[str, ...]

    def kg(self, panel_w: float, battery_wh: float) -> float:
        """Weight of both [kg].

        >>> Costs(0.05, 0.01, 1.0, 0.5, ()).kg(200.0, 1000.0)
        20.0
        """
        return self.kg_per_w * panel_w + self.kg_per_wh * battery_wh

    def price(self, panel_w: float, battery_wh: float) -> float:
        """Price of both."""
        return self.price_per_w * panel_w + self.price_per_wh * battery_wh


def costs(plan: Plan) -> Costs:
    """The lines for a plan: its own kg and price per size, else common practice.

    >>> costs(Plan.read("builtin:january-job")).assumed
    ('price of the panels', 'price of the pack')
    """
    pack, panel_w = plan.pack, panel_watts(plan)
    lines: dict[str, float] = {}
    assumed = []
    for key, words, per_w, per_wh in (
        ("kg", "weight", KG_PER_PANEL_W, KG_PER_WH[pack.chemistry]),
        ("price", "price", PRICE_PER_PANEL_W, PRICE_PER_WH[pack.chemistry]),
    ):
        panels = [(getattr(panel, key), panel.count) for panel in plan.panel]
        stated = panels and all(value is not None for value, _ in panels)
        total = sum(value * count for value, count in panels) if stated else 0.0
        lines[f"{key}_per_w"] = total / panel_w if stated else per_w
        own = getattr(pack, key)
        lines[f"{key}_per_wh"] = per_wh if own is None else own / pack.capacity_wh
        assumed += [] if stated else [f"{words} of the panels"]
        assumed += [] if own is not None else [f"{words} of the pack"]
    return Costs(**lines, assumed=tuple(assumed))
