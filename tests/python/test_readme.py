"""The README: its Python runs as it stands, and its commands are where they are looked for."""

import os
import re
import subprocess
import sys
import textwrap

import pytest
from samples import ROOT

README = (ROOT / "README.md").read_text()


def blocks(language):
    """Return the fenced blocks of one language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)


def test_every_fence_is_understood():
    fences = re.findall(r"^```(\w*)$", README, flags=re.MULTILINE)
    opening, closing = fences[::2], fences[1::2]
    assert set(closing) == {""}
    assert set(opening) <= {"sh", "python", "rust", "toml", "csv", "json"}


@pytest.mark.filterwarnings("error")
def test_the_python_runs_in_one_namespace():
    code = blocks("python")
    assert code
    assert sum(block.count("\n") for block in code) >= 15
    # A process of its own, where the README says that one is: in the root of the checkout.
    program = "\n".join(code)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", program],
        cwd=ROOT,
        env=os.environ | {"MPLBACKEND": "Agg"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_the_python_asserts_or_prints_what_it_claims():
    assert any(re.search(r"^(assert|print)\b", block, re.MULTILINE) for block in blocks("python"))


def test_the_first_command_makes_the_page_and_the_second_runs_all_tests():
    first, second = blocks("sh")[:2]
    assert re.search(r"nbconvert .*--execute .*01_judge_a_refigure\.ipynb", first)
    assert "01_judge_a_refigure.html" in first
    assert re.search(r"^\S*cargo test", second, re.MULTILINE)
    assert re.search(r"-m pytest|^\S*pytest", second, re.MULTILINE)
    for command in (first, second):
        # Each does all the set-up by itself, and is understood by a shell.
        assert "venv" in command
        assert "pip install" in command
        subprocess.run(["bash", "-n", "-c", textwrap.dedent(command)], check=True, timeout=10)


def test_the_readme_begins_with_the_job():
    head, first = README.split("\n\n")[:2]
    assert head.startswith("# catoptric")
    assert len(first.split()) > 40
    assert README.index("```sh") < README.index("```python") < README.index("```rust")


@pytest.mark.parametrize("linked", re.findall(r"\]\(([^)#:]+)\)", README))
def test_what_is_linked_is_there(linked):
    assert (ROOT / linked).exists()
