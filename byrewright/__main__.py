"""`python -m byrewright` is the command `byrewright`, which starts here."""

import sys


def main() -> None:
    """Load the command line and run it; stopped while it loads, it says so."""
    try:
        from byrewright.cli import main as run

        run()
    except KeyboardInterrupt:
        print("stopped; nothing was half written", file=sys.stderr)
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
