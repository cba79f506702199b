"""Shared fixtures: where the real open data are, and which tests need the compiler."""

import os
from pathlib import Path

import numba
import pytest
from hypothesis import settings

import stakeline.compiling  # noqa: F401  (names the folder of kernels)

ROOT = Path(__file__).parent

# No time limit for one example: the first one of a run may have to compile.
# A run that must give a verdict takes the same examples each time; others look for new ones.
settings.register_profile("stakeline", deadline=None)
settings.register_profile("verdict", deadline=None, derandomize=True)
settings.load_profile("verdict" if os.environ.get("STAKELINE_REQUIRE_REAL_DATA") else "stakeline")


def own_kernels():
    """Give each parallel worker a folder of its own for compiled kernels: writers must not meet."""
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    if worker and folder.name != worker:
        os.environ["NUMBA_CACHE_DIR"] = numba.config.CACHE_DIR = str(folder / worker)


own_kernels()


def reference_data_folder():
    """Return the folder of the real open data, or None where there is none."""
    named = os.environ.get("STAKELINE_REFERENCE_DATA")
    folder = Path(named) if named else ROOT.parent / "shared" / "data"
    return folder if folder.is_dir() else None


def no_reference_data():
    """Skip the test, or fail it where STAKELINE_REQUIRE_REAL_DATA says that data must be there."""
    sentence = "real open data not found: set STAKELINE_REFERENCE_DATA"
    if os.environ.get("STAKELINE_REQUIRE_REAL_DATA", "0") != "0":
        pytest.fail(sentence)
    pytest.skip(sentence)


@pytest.fixture(scope="session")
def reference_data():
    """Folder of the real open data; the test is skipped where it is missing."""
    folder = reference_data_folder()
    if folder is None:
        no_reference_data()
    return folder


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Turn any skip of a ``real`` test into a failure where the real data are required."""
    report = yield
    required = os.environ.get("STAKELINE_REQUIRE_REAL_DATA", "0") != "0"
    if required and report.skipped and item.get_closest_marker("real"):
        compiler_off = os.environ.get("NUMBA_DISABLE_JIT", "0") != "0"
        if not hasattr(report, "wasxfail") and not compiler_off:
            report.outcome = "failed"
            report.longrepr = f"skipped although the real data are required: {report.longrepr}"
    return report


def pytest_collection_modifyitems(items):
    """Skip what is too slow as plain Python when the compiler is switched off."""
    if os.environ.get("NUMBA_DISABLE_JIT", "0") == "0":
        return
    for item in items:
        if item.get_closest_marker("compiled"):
            item.add_marker(pytest.mark.skip(reason="needs the compiler for its size"))
