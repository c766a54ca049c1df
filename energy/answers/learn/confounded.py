"""Figures that readings move only together, in words."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from energy.answers.learn.fit import Fit
from energy.answers.learn.forward_model import ForwardModel
from energy.answers.learn.posterior import LEARNED, Figure, Posterior, words
from energy.plan.words import and_list

TOGETHER = 0.3  # a correlation, the capacity being given, that is worth a word
# Of its first doubt: what is known better is told from what moves with it; of draws by judgement,
# tried on days read before and after each tool, and on days that were not.
HALF_KNOWN, DRAW_KNOWN = 0.5, 0.6


@dataclass(frozen=True)
class Confounded:
    """Figures that a day's readings cannot tell apart, as a line and as what to do about it; of
    them none by itself is learned of those in `keys`."""

    what: str
    advice: str
    keys: frozenset[str] = frozenset()

    @property
    def line(self) -> str:
        """Both in one line."""
        return f"{self.what}: {self.advice}"


def confounded(figures: Sequence[Figure], day: ForwardModel, result: Fit) -> list[Confounded]:
    """Each group of figures that a day's readings cannot tell apart."""
    posterior = result.posterior
    left = dict(zip(posterior.keys, posterior.doubt_left.tolist(), strict=True))
    names = {figure.key: words(figure.key) for figure in figures}
    tools = [key for key in names if key.startswith("tool:") and left[key] <= LEARNED]
    known = {key: DRAW_KNOWN if is_draw(key) else HALF_KNOWN for key in names}
    open_keys = {key for key in names if left[key] >= known[key]}
    groups = []
    capacity = next(key for key in names if key.startswith("capacity_wh"))
    if capacity in open_keys:
        groups.append(
            Confounded(
                "the capacity and all draws together",
                "percentages show only their ratio; charge once from below 20 % by 30 points from a"
                " charger whose watts you know",
                frozenset({capacity}),
            )
        )
    if tools:
        groups.append(
            Confounded(
                f"the energy of {and_list([names[key] for key in tools])} and the losses of"
                " inverter and outlets",
                "the pack shows only both together",
            )
        )
    panel = next((key for key in names if key.startswith("condition_percent")), None)
    if panel in open_keys and panel is not None and _panel_and_sky(panel, day, result):
        groups.append(
            Confounded(
                "the panel's condition and that day's sky",
                "only their product shows; a day called clear tells them apart",
                frozenset({panel}),
            )
        )
    for one, other in _pairs(posterior, [*filter(is_draw, names)], capacity):
        groups.append(
            Confounded(
                f"{names[one]} and {names[other]}",
                "they ran between the same readings; read between them",
                frozenset(open_keys & {one, other}),
            )
        )
    return groups


def _pairs(posterior: Posterior, loads: Sequence[str], capacity: str) -> list[tuple[str, str]]:
    """The loads of which one may be more where the other is less, the capacity being given; those
    that do so most first."""
    at = [posterior.keys.index(key) for key in loads]
    of_capacity = posterior.keys.index(capacity)
    along = posterior.covariance[at, of_capacity]
    covariance = posterior.covariance[np.ix_(at, at)]
    covariance = (
        covariance - np.outer(along, along) / posterior.covariance[of_capacity, of_capacity]
    )
    correlation = covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    pairs = sorted(combinations(range(len(loads)), 2), key=lambda pair: correlation[pair])
    return [(loads[i], loads[j]) for i, j in pairs if correlation[i, j] < -TOGETHER]


def is_draw(key: str) -> bool:
    """Whether a figure is of what takes energy out."""
    return key.startswith(("tool:", "idle_w"))


def keys_of(groups: Collection[Confounded]) -> frozenset[str]:
    """The figures that are not learned by themselves."""
    return frozenset[str]().union(*(group.keys for group in groups))


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
