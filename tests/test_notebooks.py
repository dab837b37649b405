"""Proves that every notebook runs from the project's folder, imports vision only, stores no output.

Does not prove what its figures are.
"""

from __future__ import annotations

import ast
import sys

import nbformat
import pytest
from nbclient import NotebookClient

from tests.paths import ROOT
from vision.adjustment.groups import Group

SAYS = {
    "01_pictures_to_verdict": ["verdict: keep"],
    # All four kinds of figures of the made-up jobs, and the fault that is then made.
    "02_true_uncertainties": ["of 720", f": {Group('strip', 'right')}\n"],
}
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
ALLOWED = {"vision", "numpy", *sys.stdlib_module_names}


def code_of(notebook: nbformat.NotebookNode) -> list[nbformat.NotebookNode]:
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


@pytest.fixture
def own_kernel(monkeypatch, tmp_path):
    """Only the kernel of the running environment, and nothing written to anybody's home."""
    monkeypatch.setenv("JUPYTER_PLATFORM_DIRS", "1")
    for name in ("JUPYTER_DATA_DIR", "JUPYTER_CONFIG_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR"):
        monkeypatch.setenv(name, str(tmp_path / name.lower()))
    monkeypatch.delenv("JUPYTER_PATH", raising=False)


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_stores_no_output_and_imports_vision_only(path):
    notebook = nbformat.read(path, as_version=4)
    for cell in code_of(notebook):
        assert not cell.outputs
        assert cell.execution_count is None
        for node in ast.walk(ast.parse(cell.source)):
            names = [alias.name for alias in getattr(node, "names", ())]
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            if isinstance(node, ast.Import | ast.ImportFrom):
                assert {name.split(".")[0] for name in names} <= ALLOWED


# The kernel's own libraries may warn of what they will change: no fault of the notebook.
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path, own_kernel):
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook,
        timeout=300,
        kernel_name="python3",
        resources={"metadata": {"path": str(ROOT)}},
    )
    client.execute()
    outputs = [output for cell in code_of(notebook) for output in cell.outputs]
    complaints = [output.text for output in outputs if output.get("name") == "stderr"]
    assert not complaints
    text = "".join(output.get("text", "") for output in outputs)
    assert not [words for words in SAYS[path.stem] if words not in text]
    assert "nan" not in text
