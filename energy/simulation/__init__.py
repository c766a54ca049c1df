"""The one pass: a plan and its weather laid out, simulated, and what came of it.

`budget` asks, `case` lays out, `result` answers what is asked of the outcome.
"""
