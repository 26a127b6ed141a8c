from uuid import UUID

from django.db import migrations, models

STAGES = ["planning", "proofing", "agreeing", "finishing", "delivered"]


def carry_over(apps, schema):
    """Until now both were read back from the journal."""
    db = schema.connection.alias
    line_model, erasure_model, sitting_model = (
        apps.get_model("galleries", name) for name in ("JournalLine", "Erasure", "Sitting")
    )
    newest = {}
    for line in line_model.objects.using(db).filter(verb__in=["erasure begun", "erased"]).order_by("pk"):
        uid, detail = line.sitting_slug, line.detail
        if line.verb == "erasure begun":
            row = erasure_model.objects.using(db).create(
                uid=UUID(hex=uid), number=detail.get("number", 0), who=line.who, why=detail.get("why", ""),
                frames=detail.get("frames", 0),
            )  # fmt: skip
            erasure_model.objects.using(db).filter(pk=row.pk).update(begun_at=line.at)
            newest[uid] = row
        elif uid in newest:
            files = newest[uid].files = newest[uid].files + detail.get("files", 0)
            erasure_model.objects.using(db).filter(pk=newest[uid].pk).update(done_at=line.at, files=files)
    for sitting in sitting_model.objects.using(db).filter(stage="archived"):
        lines = line_model.objects.using(db).filter(sitting=sitting, after="archived", before__in=STAGES)
        line = lines.order_by("-pk").first()
        if line is not None:
            sitting_model.objects.using(db).filter(pk=sitting.pk).update(put_away_from=line.before)


class Migration(migrations.Migration):
    dependencies = [("galleries", "0024_what_a_letter_said")]

    operations = [
        migrations.AddField(
            model_name="sitting",
            name="put_away_from",
            field=models.CharField(
                blank=True,
                choices=[(stage, stage) for stage in [*STAGES, "archived"]],
                db_default="",
                default="",
                editable=False,
                max_length=12,
            ),
        ),
        migrations.CreateModel(
            name="Erasure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("uid", models.UUIDField()),
                ("number", models.PositiveBigIntegerField()),
                ("who", models.CharField(max_length=140)),
                ("why", models.CharField(max_length=200)),
                ("frames", models.PositiveIntegerField()),
                ("begun_at", models.DateTimeField(auto_now_add=True)),
                ("files", models.PositiveIntegerField(default=0)),
                ("done_at", models.DateTimeField(blank=True, null=True)),
                ("restore_begun_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "verbose_name": "removal for good",
                "verbose_name_plural": "removals for good",
                "ordering": ["pk"],
                "indexes": [models.Index(fields=["uid"], name="galleries_e_uid_dd76aa_idx")],
            },
        ),
        migrations.RunPython(carry_over, migrations.RunPython.noop),
    ]
