"""`python -m daemon` from a clone, with nothing installed."""

import sys

from daemon.cli import main

sys.exit(main())
