#!/usr/bin/env python
"""Run the management commands of signfleet."""

import os
import sys

from django.core.management import execute_from_command_line

from signfleet.env import SettingError


def main() -> None:
    """Run one command; a wrong environment variable ends it with one sentence."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "signfleet.settings")
    try:
        execute_from_command_line(sys.argv)
    except SettingError as error:
        sys.exit(f"{error}")


if __name__ == "__main__":
    main()
