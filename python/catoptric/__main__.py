"""`python -m catoptric` judges a telescope from files; `--help` says how."""

import sys

from .page.command import main

if __name__ == "__main__":
    sys.exit(main())
