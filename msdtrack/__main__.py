"""`python -m msdtrack` is the command `msdtrack`."""

from msdtrack.cli import main

if __name__ == "__main__":
    main()
