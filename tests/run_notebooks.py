"""Run every notebook of a folder from start to end; any error stops with its traceback."""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient


def main(folder: str) -> None:
    for path in sorted(Path(folder).glob("*.ipynb")):
        notebook = nbformat.read(path, as_version=4)
        NotebookClient(notebook, timeout=300, kernel_name="python3").execute()
        print(f"{path}: ran {len(notebook.cells)} cells")


if __name__ == "__main__":
    main(sys.argv[1])
