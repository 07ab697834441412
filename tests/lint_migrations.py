"""`python -m tests.lint_migrations`: ends with 1 if a migration would hold up a service in use."""

import os
import sys


def main() -> int:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    django.setup()
    from tests.migration_rules import of_all_after_the_base

    found = of_all_after_the_base()
    for line in found:
        print(line, file=sys.stderr)  # noqa: T201
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
