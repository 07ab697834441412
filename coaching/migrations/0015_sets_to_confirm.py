"""Finding the sets that wait to be confirmed, without reading the others."""

from django.db import migrations, models

from coaching.models.busy_tables import AddIndexOnBusyTable


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("coaching", "0014_indexes_that_others_begin_with")]

    operations = [
        AddIndexOnBusyTable(
            "loggedset",
            models.Index(
                condition=models.Q(("is_to_confirm", True)), fields=["session"], name="loggedset_to_confirm_idx"
            ),
        )
    ]
