"""`python -m byrewright` is the command `byrewright`, which starts here."""

import os
import sys


def main() -> None:
    """Load the command line and run it; stopped while it loads, it says so."""
    # Small matrices on several threads wait for each other on a busy machine: ten times as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from byrewright.cli import main as run

        run()
    except KeyboardInterrupt:
        print("stopped; nothing was half written", file=sys.stderr)
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
