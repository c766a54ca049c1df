"""The house: who may import whom. A floor imports from floors below it alone, and no circle holds.

Imports inside functions, those for types alone and those of docstrings' examples count like the
rest; only circles are looked for among what runs when a module is loaded.
"""

import ast
import re
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FLOORS = (
    {"version", "model", "plan", "tables"},
    {"weather"},
    {"simulation"},
    {"show"},
    {"answers"},
    {"cli"},
)
APART = ({"model"}, {"plan", "tables"})  # of one floor, and know nothing of each other
# An answer may ask those before it in this list.
ANSWERS = (
    *("caution", "aim", "check", "page", "choose", "size", "fix", "when", "wire"),
    *("learn", "meter", "start", "many"),
)
LEDGER = ("energy", "energy.__main__")  # the lazy names and the door to the commands: they see all


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path for path in sorted((ROOT / "energy").rglob("*.py"))}


def named_in(nodes: list[ast.AST]) -> set[str]:
    """The modules of the house that some import statements name."""
    names = set()
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module:
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            names |= {name if name in MODULES else node.module for name in whole}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return {name for name in names if name in MODULES}


@cache
def all_imports(module: str) -> set[str]:
    """Everything a module names anywhere, in the examples of its docstrings too."""
    text = MODULES[module].read_text(encoding="utf-8")
    names = named_in(list(ast.walk(ast.parse(text))))
    for example in re.findall(r"^\s*>>> (from energy.*|import energy.*)$", text, re.MULTILINE):
        names |= named_in(list(ast.parse(example).body))
    return names - {module}


def packages_of(module: str) -> set[str]:
    """The packages that a module lies in, which are loaded before it."""
    parts = module.split(".")
    return {".".join(parts[:n]) for n in range(1, len(parts))}


def imports_on_loading(module: str) -> set[str]:
    """What a module imports before anything in it is called, the packages around that too."""
    names = named_in(list(ast.parse(MODULES[module].read_text(encoding="utf-8")).body))
    around = {package for name in names for package in packages_of(name)} & set(MODULES)
    return (names | around) - {module} - packages_of(module)


def room(module: str) -> str:
    return [*module.split("."), ""][1]


def floor(module: str) -> int:
    return next(number for number, rooms in enumerate(FLOORS) if room(module) in rooms)


HOUSE = [module for module in MODULES if module not in LEDGER]


def test_a_floor_imports_from_below():
    up = [
        f"{module} looks up to {name}"
        for module in HOUSE
        for name in sorted(all_imports(module))
        if name in LEDGER or floor(name) > floor(module)
    ]
    assert up == []


def test_plan_and_model_know_nothing_of_each_other():
    met = [
        f"{module} knows {name}"
        for one, other in (APART, APART[::-1])
        for module in HOUSE
        if room(module) in one
        for name in sorted(all_imports(module))
        if room(name) in other
    ]
    assert met == []


def test_no_circle_on_loading():
    try:
        TopologicalSorter({module: imports_on_loading(module) for module in MODULES}).prepare()
    except CycleError as error:
        pytest.fail(f"a circle of imports: {' -> '.join(error.args[1])}")


def test_an_answer_asks_only_those_before_it():
    def place(module):
        return ANSWERS.index(module.split(".")[2])

    answers = [module for module in HOUSE if module.startswith("energy.answers.")]
    later = [
        f"{module} asks {name}"
        for module in answers
        for name in sorted(all_imports(module) & set(answers))
        if place(name) > place(module)
    ]
    assert later == []
