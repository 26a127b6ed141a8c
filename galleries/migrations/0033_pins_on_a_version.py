"""A pinned note may speak of one version; those from before speak of none in particular."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("galleries", "0032_time_to_object")]

    operations = [
        migrations.AddField(
            "pinnednote",
            "version",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="pinned_notes",
                to="galleries.version",
            ),
        ),
    ]
