"""Where the weather comes from: files, the stated sky, synthetic days, what was fetched.

Nothing is gathered here: each source has its own file in this folder, and `scenarios` picks one.
"""
