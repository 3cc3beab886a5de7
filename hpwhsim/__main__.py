"""`python -m hpwhsim`: the command."""

import sys

from hpwhsim.cli.main import main

sys.exit(main())
