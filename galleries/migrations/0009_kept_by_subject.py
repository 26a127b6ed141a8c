"""Kept back follows the frame. Looks that are kept now are taken for the subject's word wherever it may be theirs."""

from django.db import migrations, models


def carry_over(apps, schema_editor):
    db = schema_editor.connection.alias
    look, frame, line = (apps.get_model("galleries", name) for name in ("Look", "Frame", "JournalLine"))
    said = line.objects.using(db).filter(verb="look kept back", sitting__isnull=False).values("sitting")
    theirs = models.Q(sitting__subject_chooses_looks=True) | models.Q(sitting__in=said)
    kept = look.objects.using(db).filter(theirs, kept_from_representation=True)
    keys = list(kept.values_list("pk", flat=True))
    look.objects.using(db).filter(pk__in=keys).update(kept_by_subject=True)
    frame.objects.using(db).filter(look__in=keys).update(kept_by_subject=True)


class Migration(migrations.Migration):
    dependencies = [("galleries", "0008_version_kind")]

    operations = [
        migrations.AddField("look", "kept_by_subject", models.BooleanField(db_default=False, default=False, editable=False)),
        migrations.AddField("frame", "kept_by_subject", models.BooleanField(db_default=False, default=False, editable=False)),
        migrations.RunPython(carry_over, migrations.RunPython.noop),
    ]
