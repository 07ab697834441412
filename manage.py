#!/usr/bin/env python3
"""Django's command line for Forbear."""

import os
import sys

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from environs import EnvError


def main() -> None:
    """Run a command; what goes wrong before one can begin is told in one sentence."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    try:
        execute_from_command_line(sys.argv)
    except KeyboardInterrupt:
        sys.stderr.write("Interrupted.\n")
        sys.exit(130)
    except ImproperlyConfigured as refusal:
        sys.exit(str(refusal))
    except EnvError as error:
        sys.exit(f"The environment does not fit: {error}")
    except OSError as error:
        if "--traceback" in sys.argv:
            raise
        sys.exit(f"{error.filename or 'manage.py'}: {error.strerror or error}.")


if __name__ == "__main__":
    main()
