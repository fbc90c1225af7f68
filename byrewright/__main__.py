"""`python -m byrewright` is the command `byrewright`, which starts here."""

import gc
import os
import sys

OBJECTS_A_SEARCH = 20_000
"""New objects after which rings of garbage are looked for. Studies make few; Python's own figure,
700, costs a draft a tenth of its time."""


def main() -> None:
    """Load the command line and run it; stopped while it loads, it says so."""
    # Small matrices on several threads wait for each other on a busy machine: ten times as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(OBJECTS_A_SEARCH, 20, 20)
    try:
        from byrewright.cli import main as run

        run()
    except KeyboardInterrupt:
        print("stopped; nothing was half written", file=sys.stderr)
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
