"""`make bench`: every benchmark, one after the other. Each prints ratios measured side by side in one run."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> int:
    failed = []
    for script in sorted(HERE.glob("bench_*.py")):
        print(f"\n== {script.stem.removeprefix('bench_')}", flush=True)
        started = time.perf_counter()
        if subprocess.run([sys.executable, str(script)], check=False).returncode:
            failed.append(script.name)
        print(f"   ({time.perf_counter() - started:.0f} s)", flush=True)
    if failed:
        print("failed: " + ", ".join(failed), file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
