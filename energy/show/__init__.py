"""Answers made visible: words and tables, pictures, a sketch for the terminal, and files.

Nothing is worked out here that a person could ask for: figures come from the answers and the
budget below.
"""
