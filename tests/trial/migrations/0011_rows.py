import os
import time
from pathlib import Path

from django.db import migrations


def count_seconds(apps, schema_editor):
    """Stands still after its rows where a test wants to stop it there."""
    apps.get_model("trial", "Lift").objects.filter(seconds=None).update(seconds=30)
    if stands_still := os.environ.get("TRIAL_STANDS_STILL"):
        Path(stands_still).touch()
        time.sleep(60)


class Migration(migrations.Migration):
    dependencies = [("trial", "0010_dropped")]

    operations = [migrations.RunPython(count_seconds, migrations.RunPython.noop)]
