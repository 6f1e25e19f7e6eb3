"""Run every notebook from a clean kernel and store what it shows: the only writer of outputs.

``python notebooks/refresh.py`` rewrites the notebooks beside it. Widget views and states,
execution times and machine traces are dropped, so a second run gives the same bytes.
"""

import os
from pathlib import Path

import nbformat
from nbclient import NotebookClient

FOLDER = Path(__file__).parent
KERNEL = {"display_name": "Python 3", "language": "python", "name": "python3"}
WIDGET = "application/vnd.jupyter.widget-view+json"


def refreshed(path: Path) -> str:
    """The notebook's text after a run."""
    notebook = nbformat.read(path, as_version=4)
    # one text a cell, however the kernel's printing was cut into pieces on the way
    client = NotebookClient(
        notebook,
        timeout=120,
        kernel_name="python3",
        record_timing=False,
        coalesce_streams=True,
    )
    client.execute(cwd=str(FOLDER))
    notebook.metadata = {"kernelspec": KERNEL, "language_info": {"name": "python"}}
    for number, cell in enumerate(notebook.cells):
        # an exercise's own cell stays folded, a picture as wide as it is
        folded = {k: v for k, v in cell.metadata.items() if k == "jupyter"}
        cell.id, cell.metadata = f"cell-{number:02d}", folded
        for output in cell.get("outputs", ()):
            output.get("data", {}).pop(WIDGET, None)
            if "metadata" in output:
                wide = output["metadata"].get("image/png", {}).get("unconfined")
                output["metadata"] = {"image/png": {"unconfined": True}} if wide else {}
        if cell.cell_type == "code":
            # what was said while something was under way is a view only
            cell.outputs = [o for o in cell.outputs if o.get("data", True)]
    return nbformat.writes(notebook) + "\n"


def main() -> None:
    """Refresh all notebooks."""
    os.environ["PYTHONWARNINGS"] = "error::UserWarning,error::RuntimeWarning"
    for path in sorted(FOLDER.glob("*.ipynb")):
        path.write_text(refreshed(path), encoding="utf-8")


if __name__ == "__main__":
    main()
