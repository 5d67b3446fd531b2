"""How long the demo takes, as a person would start it."""

import json
import subprocess
import sys
from pathlib import Path
from time import perf_counter

from measure import Result

MOST = 60.0


def demo(folder: Path) -> Result:
    """The whole demo in a process of its own; it holds only if all laws held and the time was kept."""
    command = [sys.executable, "-m", "reelmark", "demo", "--dir", str(folder / "demo-works"), "--json"]
    start = perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=600)
    took = perf_counter() - start
    holds, note = _said(done)
    return Result("demo, whole", took, "s", None, None, f"<= {MOST:g} s", holds and took <= MOST, note)


def _said(done: "subprocess.CompletedProcess[str]") -> tuple[bool, str]:
    if done.returncode:
        last = (done.stderr.strip() or done.stdout.strip() or "it said nothing").splitlines()[-1]
        return False, f"it ended with {done.returncode}: {last[:200]}"
    answer = json.loads(done.stdout)
    troubles = answer["troubles"]
    found = sum(bool(one["found"]) for one in troubles)
    note = f"{answer['notes']:,} notes; laws held: {answer['laws_held']}; {found} of {len(troubles)} troubles found"
    return bool(answer["laws_held"]), note
