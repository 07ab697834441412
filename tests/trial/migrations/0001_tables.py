from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True
    dependencies = []

    operations = [
        migrations.CreateModel("Gym", [("id", models.BigAutoField(primary_key=True, serialize=False))]),
        migrations.CreateModel(
            "Lift",
            [
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("name", models.CharField(max_length=40)),
                ("reps", models.IntegerField()),
                ("old_note", models.CharField(max_length=20, null=True)),
            ],
        ),
    ]
