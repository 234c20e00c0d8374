import nbclient
import nbformat
import pytest
from tests_shared import ROOT

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def run(path, **parameters):
    """Run a notebook with some of its parameters changed, and give it back with its outputs."""
    notebook = nbformat.read(path, as_version=4)
    cell = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", []))
    cell.source += "".join(f"\n{name} = {value!r}" for name, value in parameters.items())
    client = nbclient.NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}})
    return client.execute()


@pytest.mark.filterwarnings("default::DeprecationWarning")  # those of the notebook runner's own libraries
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_every_notebook_runs_and_shows_its_tables_and_pictures(path):
    outputs = [output for cell in run(path, max_fills=1).cells for output in cell.get("outputs", [])]
    assert not [output for output in outputs if output.output_type == "error"]
    shown = [(kind, text) for output in outputs for kind, text in output.get("data", {}).items()]
    assert [kind for kind, _ in shown].count("image/png") == 2
    tables = "\n".join(text for kind, text in shown if kind == "text/html")
    assert "does not go in" in tables  # the comparison found the one that is too wide, and says by how much
    assert "84 mm wide" in tables
