import django.db.models.deletion
from django.db import migrations, models

from galleries.models import journal_guard


def put_up(apps, schema):
    journal_guard.put_up(schema.connection)


def take_down(apps, schema):
    journal_guard.take_down(schema.connection)


class Migration(migrations.Migration):
    dependencies = [("galleries", "0028_sessions_of_the_studio")]

    operations = [
        migrations.CreateModel(
            name="Leaving",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sitting", models.PositiveBigIntegerField()),
                (
                    "never",
                    models.ForeignKey(
                        default=-1,
                        editable=False,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="galleries.leaving",
                    ),
                ),
            ],
            options={
                "verbose_name": "sitting whose journal is leaving",
                "verbose_name_plural": "sittings whose journal is leaving",
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("id__gt", 0), ("never", -1)), name="leaving_within_one_transaction"
                    )
                ],
            },
        ),
        migrations.AlterField(
            model_name="journalline",
            name="sitting",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="journal",
                to="galleries.sitting",
            ),
        ),
        migrations.RunPython(put_up, take_down),
    ]
