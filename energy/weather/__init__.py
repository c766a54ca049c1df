"""Where the weather comes from: files, the sky as it is judged by eye, years drawn by chance.

Nothing is gathered here: each source has its own file in this folder.
"""
