"""``python -m tests.deviations PREFIX`` prints the outside checks of a run as a table, each once."""

from __future__ import annotations

import json
import sys
from pathlib import Path


def main(prefix: str) -> int:
    files = sorted(Path(prefix).parent.glob(f"{Path(prefix).name}.*.json"))
    rows = {json.dumps(row, sort_keys=True): row for file in files for row in json.loads(file.read_text())}
    kept = sorted(rows.values(), key=lambda row: (row["source"], row["what"]))
    if not kept:
        sys.stdout.write("no outside check left a row\n")
        return 1
    for row in kept:
        sys.stdout.write(
            f"{row['what'][:64]:64} {row['expected'][:14]:>14} {row['got']:>12} {row['off']:>10}  "
            f"{row['confidence']:26} {row['source'][:60]}\n"
        )
    sys.stdout.write(f"{len(kept)} outside checks\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1]))
