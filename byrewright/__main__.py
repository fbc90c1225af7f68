"""`python -m byrewright` is the command `byrewright`."""

from byrewright.cli import main

if __name__ == "__main__":
    main()
