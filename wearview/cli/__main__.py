"""`python -m wearview.cli`, the same as the `wearview` command."""

import sys

from wearview.cli import main

if __name__ == "__main__":
    sys.exit(main())
