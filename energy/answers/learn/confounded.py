"""Figures that readings move only together, in words."""

from collections.abc import Sequence

import numpy as np

from energy.answers.learn.fit import Fit
from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.posterior import LEARNED, Figure, words
from energy.plan.words import and_list

TOGETHER = 0.4  # a correlation, the capacity being given, that is worth a word
HALF_KNOWN = 0.5  # of its first doubt: what is known better is told from what moves with it


def confounded(figures: Sequence[Figure], day: ForwardModel, result: Fit) -> list[str]:
    """A line for each group of figures that a day's readings cannot tell apart."""
    posterior = result.posterior
    left = dict(zip(posterior.keys, (posterior.sd / posterior.first_sd).tolist(), strict=True))
    names = {figure.key: words(figure.key) for figure in figures}
    tools = [key for key in names if key.startswith("tool:") and left[key] <= LEARNED]
    lines = []
    capacity = next(key for key in names if key.startswith("capacity_wh"))
    if left[capacity] >= HALF_KNOWN:
        lines.append(
            "the capacity and all draws together: percentages show only their ratio; charge once"
            " from below 20 % by 30 points from a charger whose watts you know"
        )
    if tools:
        lines.append(
            f"the energy of {and_list([names[key] for key in tools])} and the losses of inverter"
            " and outlets: the pack shows only both together"
        )
    panel = next((key for key in names if key.startswith("condition_percent")), None)
    if panel is not None and left[panel] >= HALF_KNOWN and _panel_and_sky(panel, day, result):
        lines.append(
            "the panel's condition and that day's sky: only their product shows; a day called"
            " clear tells them apart"
        )
    loads = [key for key in names if key.startswith(("tool:", "idle_w"))]
    at = [posterior.keys.index(key) for key in loads]
    of_capacity = posterior.keys.index(capacity)
    along = posterior.covariance[at, of_capacity]
    covariance = posterior.covariance[np.ix_(at, at)]
    covariance = (
        covariance - np.outer(along, along) / posterior.covariance[of_capacity, of_capacity]
    )
    correlation = covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    for i, j in zip(*np.nonzero(np.triu(correlation < -TOGETHER, 1)), strict=True):
        pair = f"{names[loads[i]]} and {names[loads[j]]}"
        lines.append(f"{pair}: they ran between the same readings; read between them")
    return lines


def _panel_and_sky(panel: str, day: ForwardModel, result: Fit) -> bool:
    """Whether on some date the light is known, but not which of panel and sky made it."""
    at = result.posterior.keys.index(panel)
    panel_sd = float(result.posterior.sd[at])
    for weight in day.sky_weights().values():
        sky_sd = float(np.sqrt(weight @ result.nuisance_covariance[0] @ weight))
        covariance = float(result.cross_covariance[0][at] @ weight)
        if sky_sd > 0.0 and covariance < -TOGETHER * sky_sd * panel_sd:
            return True
    return False
