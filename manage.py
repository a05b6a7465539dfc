#!/usr/bin/env python3
"""Run the site's management commands."""

import os
import sys


def main() -> None:
    """Hand the command line to Django."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.project.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415 - the settings module must be named first

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
