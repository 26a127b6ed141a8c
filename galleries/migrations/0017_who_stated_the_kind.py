from django.db import migrations, models


def state(apps, schema):
    """Until now the name in `kind_said_by` told who: 'the file', a person's, or nobody's."""
    versions = apps.get_model("galleries", "Version").objects.using(schema.connection.alias)
    versions.filter(kind_said_by="the file").update(kind_stated="file", kind_said_by="")
    versions.exclude(kind_said_by="").update(kind_stated="person")


def unstate(apps, schema):
    versions = apps.get_model("galleries", "Version").objects.using(schema.connection.alias)
    versions.filter(kind_stated="file").update(kind_said_by="the file")


class Migration(migrations.Migration):
    dependencies = [("galleries", "0016_job_held_back")]

    operations = [
        migrations.AddField(
            model_name="version",
            name="kind_stated",
            field=models.CharField(
                blank=True,
                choices=[("", "nobody"), ("person", "a person"), ("file", "the file's own metadata")],
                db_default="",
                default="",
                max_length=6,
            ),
        ),
        migrations.RunPython(state, unstate),
    ]
