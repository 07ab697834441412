import django.db.models.deletion
from django.db import migrations, models

from coaching.models.busy_tables import DropKeysIndex


class Migration(migrations.Migration):
    dependencies = [("trial", "0011_rows")]

    operations = [
        DropKeysIndex(
            "lift",
            "gym",
            models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, to="trial.gym", db_index=False
            ),
        )
    ]
