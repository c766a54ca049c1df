"""What is chosen of the built-in examples; no test lives here."""

from functools import cache

from energy import Plan
from energy.answers.choose.choose import Choose, choose


@cache
def choice_of(name: str) -> Choose:
    """The choice of an example, worked out once."""
    return choose(Plan.read(f"builtin:{name}"))
