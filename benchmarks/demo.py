"""Time of the whole demonstration on two cores: kernels still to compile, and compiled."""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

BAR_S = 180.0  # asked for, set-up aside


def main():
    with tempfile.TemporaryDirectory() as parent:
        surroundings = os.environ | {"XDG_CACHE_HOME": f"{parent}/cache"}
        surroundings.pop("NUMBA_CACHE_DIR", None)
        spent = []
        for name in ("kernels still to compile", "kernels compiled"):
            folder = Path(parent) / f"campaign{len(spent)}"
            command = [sys.executable, "-m", "stakeline", "demo", str(folder), "--quiet"]
            begin = time.perf_counter()
            done = subprocess.run(command, env=surroundings, capture_output=True, text=True)
            spent.append(time.perf_counter() - begin)
            print(f"stakeline demo, {name}: {spent[-1]:.0f} s (bar {BAR_S:.0f} s)", flush=True)
            if done.returncode:
                sys.exit(done.stdout + done.stderr)
            lines = done.stdout.splitlines()
            print("\n".join(f"  {line}" for line in lines if " s)" in line or " s, " in line))
    sys.exit(1 if spent[-1] > BAR_S else 0)


if __name__ == "__main__":
    main()
