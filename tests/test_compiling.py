"""The door to the compiler: a cache that notices every change and never needs a home."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import stakeline.compiling as compiling

PACKAGE = Path(compiling.__file__).parent


@pytest.fixture
def package(tmp_path):
    """Return the folder that holds a copy of the package's door and of one kernel beside it."""
    copy = tmp_path / "copy" / "stakeline"
    copy.mkdir(parents=True)
    shutil.copy(PACKAGE / "compiling.py", copy)
    (copy / "__init__.py").touch()
    (copy / "_kernels.py").write_text(
        "from .compiling import njit\n\n\n@njit\ndef twice(x):\n    return 2.0 * x\n"
    )
    return copy.parent


def ask(package, program, **environment):
    """Run a program in a fresh process on the copy; return what it printed."""
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    done = subprocess.run(
        [sys.executable, "-c", program],
        env=kept | {"PYTHONPATH": str(package)} | environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


FOLDER = "import os, stakeline.compiling; print(os.environ['NUMBA_CACHE_DIR'])"


def test_the_folder_lies_in_the_users_cache(package, tmp_path):
    folder = Path(ask(package, FOLDER, XDG_CACHE_HOME=str(tmp_path / "cache")))
    assert folder.parent == tmp_path / "cache" / "stakeline" / "kernels"
    assert folder.is_dir()
    assert list(folder.iterdir()) == []


def test_the_folder_changes_with_all_that_a_kernel_may_hold(package, tmp_path):
    cache = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    kernels, helper = (package / "stakeline" / n for n in ("_kernels.py", "earth/helper.py"))
    helper.parent.mkdir()
    helper.write_text("FACTOR = 1.0\n")
    before = ask(package, FOLDER, **cache)
    helper.write_text("FACTOR = 3.0\n")
    assert ask(package, FOLDER, **cache) == before  # no kernel imports it
    kernels.write_text("from .earth.helper import FACTOR\n" + kernels.read_text())
    with_helper = ask(package, FOLDER, **cache)
    helper.write_text("FACTOR = 2.0\n")
    assert len({before, with_helper, ask(package, FOLDER, **cache)}) == 3


def test_sources_of_kernels_are_followed_through_their_imports():
    found = compiling.kernel_sources(PACKAGE)
    for name in ("constants.py", "station/panel.py", "station/_offered_kernels.py"):
        assert PACKAGE / name in found
    assert not [path for path, lines in found.items() if b"from . import" in lines]  # not followed


@pytest.mark.compiled
def test_the_folder_holds_where_the_compiler_was_there_first(package, tmp_path):
    program = (
        "import numba; from stakeline._kernels import twice; twice(1.5); "
        "print(twice.stats.cache_path)"
    )
    cache = tmp_path / "cache"
    assert Path(ask(package, program, XDG_CACHE_HOME=str(cache))).is_relative_to(cache)


def test_a_home_that_cannot_be_written_falls_back(package, tmp_path):
    no_folder = tmp_path / "file"
    no_folder.touch()  # a file where a folder should be: unwritable even for root
    environment = {"XDG_CACHE_HOME": str(no_folder), "TMPDIR": str(tmp_path / "temporary")}
    (tmp_path / "temporary").mkdir()
    folder = Path(ask(package, FOLDER, **environment))
    assert folder.is_relative_to(tmp_path / "temporary")
    assert folder.is_dir()


def test_a_folder_named_by_the_user_is_kept(package, tmp_path):
    assert ask(package, FOLDER, NUMBA_CACHE_DIR=str(tmp_path / "own")) == str(tmp_path / "own")


def test_the_switch_gives_the_same_lines_as_plain_python(package, tmp_path):
    program = "from stakeline._kernels import twice; print(twice(1.5), type(twice).__name__)"
    cache = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    assert ask(package, program, NUMBA_DISABLE_JIT="1", **cache) == "3.0 function"
    assert ask(package, program, NUMBA_DISABLE_JIT="0", **cache) == "3.0 CPUDispatcher"


@pytest.mark.compiled
def test_compiled_kernels_are_kept(package, tmp_path):
    program = (
        "from stakeline._kernels import twice; twice(1.5); "
        "print(sum(twice.stats.cache_{}.values()))"
    )
    cache = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    assert ask(package, program.format("misses"), **cache) == "1"
    assert ask(package, program.format("hits"), **cache) == "1"


def test_arithmetic_stays_as_written():
    # no re-ordering of sums: (1e16 + 1) - 1e16 is 0 by IEEE 754, and NaN is seen
    @compiling.njit
    def cancel(big, small):
        return (big + small) - big

    assert cancel(1e16, 1.0) == 0.0
    assert cancel(float("nan"), 1.0) != cancel(float("nan"), 1.0)
