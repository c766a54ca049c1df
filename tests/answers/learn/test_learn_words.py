"""What was learned, in lines no wider than the screen."""

import pytest
from rich.cells import cell_len

from energy.answers.learn.items import Item
from energy.answers.learn.words import items_part


@pytest.mark.parametrize("every", [False, True])
def test_what_moved_is_explained_within_the_screen(every):
    moved = Item("tool:drill", "drill", "W", 400.0, 420.0, 380.0, 460.0, False, 97.0)
    lines = [line.plain for line in items_part([moved], 60, every=every).lines]
    assert "(moved): not learned by itself" in " ".join(lines)
    assert max(map(cell_len, lines)) <= 60
