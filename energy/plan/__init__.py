"""What the user wrote: the plan file, its profiles, and what is wrong with them.

Nothing here knows how anything is simulated.
"""

from energy.plan.read import Plan, require_plan
from energy.plan.words import PlanError
from energy.plan.write import write_changes

__all__ = ["Plan", "PlanError", "require_plan", "write_changes"]
