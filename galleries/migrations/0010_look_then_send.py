from django.db import migrations, models


def already_sent(apps, schema_editor):
    """Before this, a version was out as soon as it came in."""
    versions = apps.get_model("galleries", "Version").objects.using(schema_editor.connection.alias)
    versions.filter(sent_at=None).update(sent_at=models.F("added_at"))


class Migration(migrations.Migration):
    dependencies = [("galleries", "0009_kept_by_subject")]

    operations = [
        migrations.AddField(
            "sitting",
            "send_at_once",
            models.BooleanField(
                "retouches and deliveries go out at once, without a look first", default=False, db_default=False
            ),
        ),
        migrations.AddField("version", "sent_at", models.DateTimeField(null=True, blank=True, editable=False)),
        migrations.AlterField(
            "delivery",
            "state",
            models.CharField(
                max_length=10,
                default="waiting",
                choices=[
                    ("waiting", "being made"),
                    ("made", "waits for the studio's look"),
                    ("ready", "ready"),
                    ("failed", "failed"),
                    ("withdrawn", "withdrawn"),
                ],
            ),
        ),
        migrations.RunPython(already_sent, migrations.RunPython.noop),
    ]
