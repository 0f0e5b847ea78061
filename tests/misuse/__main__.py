"""A long run of cases that ought to end well: `python tests/misuse --seconds 600`; 1 where one does not.

Each case is drawn from the seed and its number: `--seed 3 --only 4711` runs one again and keeps its folder.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]


def main() -> int:
    """Run until the time is up or the cases are done, and print what was found."""
    from misuse.desk_requests import attack
    from misuse.fuzz import run_case, run_many
    from misuse.kills import main as kill

    parser = argparse.ArgumentParser(prog="python tests/misuse", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--cases", type=int, default=10**9)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--only", type=int, help="one case alone; its folder stays")
    parser.add_argument("--processes", action="store_true", help="each case in a process of its own")
    parser.add_argument("--desk", type=int, help="instead, so many requests to the desk")
    parser.add_argument("--kills", type=int, help="instead, so many kills of each command that writes")
    asked = parser.parse_args()
    folder, start = Path(tempfile.mkdtemp(prefix="misuse-")), time.monotonic()
    if asked.desk:
        return attack(asked.seed, asked.desk, folder)
    if asked.kills:
        return kill(asked.kills, asked.seed, folder)
    if asked.only is not None:
        print(folder)
        one, code = run_case(asked.seed, asked.only, folder / "tank", alone=asked.processes)
        print(one.kind, " ".join(one.words), "->", code)
        return 0
    numbers = range(asked.first, asked.first + asked.cases)
    counts, faults = run_many(
        asked.seed,
        numbers,
        folder,
        alone=asked.processes,
        go_on=lambda: time.monotonic() - start < asked.seconds,
    )
    print(f"{'kind':<34}{'answered':>10}{'refused':>10}{'faults':>8}")
    for kind, row in sorted(counts.items()):
        print(f"{kind:<34}{row[0]:>10}{row[1]:>10}{row[2]:>8}")
    total = sum(map(sum, counts.values()))
    for number, words in faults.items():
        print(f"\n--seed {asked.seed} --only {number}\n{words[:1500]}")
    causes = Counter(words.split("\n")[1][:120] for words in faults.values())
    for cause, times in causes.most_common():
        print(f"{times:>6}  {cause}")
    print(f"\n{total} cases, {len(faults)} faults, {time.monotonic() - start:.0f} s, seed {asked.seed}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
