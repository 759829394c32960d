"""The notebooks run from top to bottom, end with asserted numbers, and are kept without outputs."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient
from nbclient.exceptions import CellTimeoutError

FOLDER = Path(__file__).resolve().parents[2] / "notebooks-demo"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
CELL_TIMEOUT_S = 120

every_notebook = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


def read(path):
    return nbformat.read(path, as_version=4)


def run(path):
    """Execute a notebook beside its data; once more if, and only if, a cell ran out of time."""
    for attempt in range(2):
        client = NotebookClient(
            read(path),
            timeout=CELL_TIMEOUT_S,
            kernel_name="python3",
            resources={"metadata": {"path": str(FOLDER)}},
        )
        try:
            return client.execute()
        except CellTimeoutError:
            if attempt == 1:
                raise
    raise AssertionError("unreachable")


def test_notebooks_are_numbered_and_the_first_is_there():
    numbers = [path.name[:3] for path in NOTEBOOKS]
    assert numbers[0] == "01_"
    assert len(set(numbers)) == len(numbers)
    assert all(number[:2].isdigit() and number[2] == "_" for number in numbers)


@every_notebook
@pytest.mark.timeout(580)
# The kernel's own libraries warn about themselves; what the notebook's code warns stays inside it.
@pytest.mark.filterwarnings("default")
def test_notebook_runs(path):
    done = run(path)
    cells = [cell for cell in done.cells if cell.cell_type == "code"]
    assert all(cell.execution_count for cell in cells)
    complaints = [out.text for cell in cells for out in cell.outputs if out.get("name") == "stderr"]
    assert complaints == []


@every_notebook
def test_notebook_is_kept_without_outputs(path):
    for cell in read(path).cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


@every_notebook
def test_notebook_ends_with_asserted_numbers(path):
    last = [cell for cell in read(path).cells if cell.cell_type == "code"][-1]
    assert sum(line.startswith("assert ") for line in last.source.splitlines()) >= 3


@every_notebook
def test_notebook_is_valid_and_its_text_has_one_sentence_a_line(path):
    notebook = read(path)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            for line in cell.source.splitlines():
                assert ". " not in line.rstrip().removesuffix(".").replace("e.g. ", ""), line
                assert "$" not in line, line
