"""`python -m spreadnet.cli`."""

import sys

from spreadnet.cli import main

sys.exit(main())
