#!/usr/bin/env python
"""Every command starts here: `manage.py serve`, `manage.py demo`, and Django's own."""

import sys

from dryrecords.runtime.command_line import main

if __name__ == "__main__":
    sys.exit(main(sys.argv))
