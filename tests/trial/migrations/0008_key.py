import django.db.models.deletion
from django.db import migrations, models

from coaching.models.busy_tables import AddKeyOnBusyTable


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("trial", "0007_check_validated")]

    operations = [
        AddKeyOnBusyTable(
            "lift",
            "gym",
            models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, to="trial.gym"),
        )
    ]
