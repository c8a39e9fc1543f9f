"""`python -m sequencer` is the command."""

import sys

from sequencer.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
