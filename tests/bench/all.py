"""Every benchmark, one after the other, each in a bounded size: some ten minutes.

    python tests/bench/all.py [NAME ...]

Each prints figures beside a baseline of its own from the same run, so that the ratios mean
something on any machine. By itself each takes options for larger sizes: see its first lines."""

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
LIMIT_S = 600
SIZES: dict[str, tuple[str, ...]] = {
    "engine": ("--days", "3"),
    "ingest": ("--messages", "20000"),
    "scale": ("--seconds", "30"),
    "journal": ("--readings", "400000"),
    "detection": ("--nights", "10"),
    "odd_setups": ("--boxes", "8"),
    "radiant": ("--nights", "24"),
    "page": ("--readings", "400000", "--seconds", "10"),
}


def main() -> int:
    """Runs them; 1 if one could not be run or missed what it insists on."""
    names = sys.argv[1:] or sorted(p.stem.removeprefix("bench_") for p in HERE.glob("bench_*.py"))
    failed = []
    for name in names:
        print(f"\n== {name}", flush=True)
        begun = time.monotonic()
        command = [sys.executable, str(HERE / f"bench_{name}.py"), *SIZES.get(name, ())]
        try:
            code = subprocess.run(command, timeout=LIMIT_S, check=False).returncode
        except subprocess.TimeoutExpired:
            print(f"not done in {LIMIT_S} s")
            code = 1
        print(f"({time.monotonic() - begun:.0f} s)", flush=True)
        if code:
            failed.append(name)
    if failed:
        print(f"\nfailed: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
