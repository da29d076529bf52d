#!/usr/bin/env python
"""Run the project's management commands."""

import os
import sys

from django.core.management import execute_from_command_line


def main() -> None:
    """Run the command named on the command line against the practice's settings."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "practice.settings")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
