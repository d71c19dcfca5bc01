"""
Time and memory of the weekly summary of the largest house that is promised.

300 tubs on 60 places with two probes each, a reading a minute, every place out of
range. The command runs in a process of its own, as the daemon runs it. Run it as
``python -m tests.bench.bench_summary``; it prints what was used beside the budget.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from tests.source import ROOT
from tests.summary import large

BUDGET_S = 20.0
BUDGET_MB = 500.0


def run(root: Path) -> tuple[float, float, float, dict[str, str]]:
    """Make the summary: wall and processor time [s], memory [MB], what it said."""
    words = ("summary", "--week", "2026-W09", "--write", "--json")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    ended = subprocess.run(
        [sys.executable, "-m", "monitor", *words, "--config", str(root / "config")],
        env={
            "PATH": os.environ["PATH"],
            "PYTHONPATH": str(ROOT),
            "REARING_STATE": str(root / "state"),
        },
        capture_output=True,
        check=True,
    )
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime)
    return wall, used, after.ru_maxrss / 1000, json.loads(ended.stdout)


def main() -> int:
    """Measure and print; the second run, since the first also looks for fonts."""
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        large.lay(root / "config", interval="1 min")
        (root / "state").mkdir()
        large.fill(root / "state", step=timedelta(minutes=1), bad=60)
        run(root)
        wall, used, memory, said = run(root)
        folder = root / "state" / said["folder"]
        pictures = [path.stat().st_size for path in folder.glob("*.png")]
    html = len(said["html"].encode())
    print(f"wall time      : {wall:8.1f} s   (budget {BUDGET_S:.0f} s)")
    print(f"processor time : {used:8.1f} s")
    print(f"memory, peak   : {memory:8.0f} MB  (budget {BUDGET_MB:.0f} MB)")
    print(f"mail, HTML     : {html / 1000:8.1f} kB  (limit 90 kB)")
    print(
        f"pictures       : {len(pictures)}, the largest {max(pictures) / 1000:.1f} kB"
    )
    return 0 if wall < BUDGET_S and memory < BUDGET_MB else 1


if __name__ == "__main__":
    sys.exit(main())
