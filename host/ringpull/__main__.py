"""`python -m ringpull` is the command `ringpull`."""

import sys

from ringpull.cli import main

sys.exit(main())
