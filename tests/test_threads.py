"""Libraries of linear algebra get one thread, unless somebody said otherwise."""

import os
import subprocess
import sys

from stakeline.threads import ONE_THREAD, leave_one_thread


def test_what_somebody_set_is_kept(monkeypatch):
    monkeypatch.delenv(ONE_THREAD[0], raising=False)
    monkeypatch.setenv(ONE_THREAD[1], "3")
    leave_one_thread()
    assert [os.environ[name] for name in ONE_THREAD[:2]] == ["1", "3"]


def test_the_command_line_says_it_before_the_libraries_are_loaded():
    code = "import sys, stakeline.cli; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
