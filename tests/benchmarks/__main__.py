"""Print every benchmark in one go: `python -m tests.benchmarks`, or some by name: `python -m tests.benchmarks fits`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main(wanted: list[str]) -> int:
    """Run each script in a process of its own, so that none warms another; the worst exit code is ours."""
    scripts = sorted(Path(__file__).parent.glob("bench_*.py"))
    chosen = [s for s in scripts if not wanted or s.stem.removeprefix("bench_") in wanted]
    codes = []
    for script in chosen:
        print(f"\n== {script.stem.removeprefix('bench_')}", flush=True)
        codes.append(subprocess.run([sys.executable, str(script)], check=False).returncode)
    return max(codes, default=2)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
