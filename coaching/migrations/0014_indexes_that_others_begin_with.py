"""A foreign key needs no index of its own where another index begins with it."""

import django.db.models.deletion
from django.db import migrations, models

from coaching.models.busy_tables import DropKeysIndex


class Migration(migrations.Migration):

    dependencies = [
        ('coaching', '0013_claims_and_dead_rows'),
    ]

    operations = [
        DropKeysIndex(
            model_name='alert',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='assignment',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='auditevent',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='block',
            name='day',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='blocks', to='coaching.planday'),
        ),
        DropKeysIndex(
            model_name='bodymass',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='body_masses', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='calendarfeed',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='clearance',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='client',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='consent',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='eraseddigest',
            name='erasure',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='digests', to='coaching.erasure'),
        ),
        DropKeysIndex(
            model_name='erasure',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='exercise',
            name='practice',
            field=models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='exercisealternative',
            name='exercise',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='alternatives', to='coaching.exercise'),
        ),
        DropKeysIndex(
            model_name='injury',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='interventionnote',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='invitation',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='jointday',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='joint_days', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='liftday',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='lift_days', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='loggedset',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='loggedset',
            name='session',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='sets', to='coaching.session'),
        ),
        DropKeysIndex(
            model_name='mailrow',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='membership',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='musclerole',
            name='exercise',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='muscle_roles', to='coaching.exercise'),
        ),
        DropKeysIndex(
            model_name='night',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='nights', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='nightclient',
            name='night',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='night_clients', to='coaching.night'),
        ),
        DropKeysIndex(
            model_name='painreport',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='pain_reports', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='painreport',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='plan',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='planday',
            name='version',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='days', to='coaching.planversion'),
        ),
        DropKeysIndex(
            model_name='planversion',
            name='plan',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='versions', to='coaching.plan'),
        ),
        DropKeysIndex(
            model_name='prescription',
            name='block',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='prescriptions', to='coaching.block'),
        ),
        DropKeysIndex(
            model_name='prescription',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='prescriptionalternative',
            name='prescription',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='alternatives', to='coaching.prescription'),
        ),
        DropKeysIndex(
            model_name='referral',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='restriction',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='scheduledsession',
            name='assignment',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='scheduled_sessions', to='coaching.assignment'),
        ),
        DropKeysIndex(
            model_name='scheduledsession',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='scheduled_sessions', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='scheduledsession',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='score',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='scores', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='servicetoken',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='servicetokencoach',
            name='token',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='coaching.servicetoken'),
        ),
        DropKeysIndex(
            model_name='session',
            name='client',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='sessions', to='coaching.client'),
        ),
        DropKeysIndex(
            model_name='session',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='webhook',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='webhookdelivery',
            name='practice',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='coaching.practice'),
        ),
        DropKeysIndex(
            model_name='webhookdelivery',
            name='webhook',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='coaching.webhook'),
        ),
    ]
