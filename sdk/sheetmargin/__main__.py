"""`python -m sheetmargin` is the command line."""

import sys

from sheetmargin.cli import main

sys.exit(main())
