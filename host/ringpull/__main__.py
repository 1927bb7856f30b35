"""`python -m ringpull` is the command `ringpull`."""

import sys

from ringpull.cli.main import main

sys.exit(main())
