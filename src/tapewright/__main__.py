"""`python -m tapewright` is the same as `tapewright`."""

from tapewright.cli import main

if __name__ == "__main__":
    main()
