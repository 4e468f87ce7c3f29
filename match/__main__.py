"""``python -m match``."""

import sys

from match.cli import main

sys.exit(main())
