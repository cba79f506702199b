"""Shared fixtures: where the real open data are, and which tests need the compiler."""

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def reference_data_folder():
    """Return the folder of the real open data, or None where there is none."""
    named = os.environ.get("STAKELINE_REFERENCE_DATA")
    folder = Path(named) if named else ROOT.parent / "shared" / "data"
    return folder if folder.is_dir() else None


@pytest.fixture(scope="session")
def reference_data():
    """Folder of the real open data; the test is skipped where it is missing."""
    folder = reference_data_folder()
    if folder is None:
        pytest.skip("real open data not found: set STAKELINE_REFERENCE_DATA")
    return folder


def pytest_collection_modifyitems(items):
    """Skip what is too slow as plain Python when the compiler is switched off."""
    if os.environ.get("NUMBA_DISABLE_JIT", "0") == "0":
        return
    for item in items:
        if item.get_closest_marker("compiled"):
            item.add_marker(pytest.mark.skip(reason="needs the compiler for its size"))
