from django.db import migrations, models

from coaching.models.busy_tables import AddUniqueOnBusyTable


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("trial", "0004_unique")]

    operations = [
        AddUniqueOnBusyTable(
            "lift",
            models.UniqueConstraint(
                fields=["reps"], condition=models.Q(rir__gt=8), name="trial_lift_easy_once"
            ),
        )
    ]
