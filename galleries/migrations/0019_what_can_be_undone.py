from django.db import migrations, models

UNDOABLE = ("frames moved", "frames hidden", "frames shown", "look split", "looks merged")
NEWEST = 50  # of a sitting: as many as could be taken back until now


def carry_over(apps, schema):
    """Until now the journal was read back: each act's line held what was before, an 'undone' line its number."""
    db = schema.connection.alias
    line_model, act_model = (apps.get_model("galleries", name) for name in ("JournalLine", "Undoable"))
    for sitting in apps.get_model("galleries", "Sitting").objects.using(db).order_by("pk"):
        lines = line_model.objects.using(db).filter(sitting=sitting)
        undone = {line.detail.get("line") for line in lines.filter(verb="undone")}
        frames = set(sitting.frames.values_list("pk", flat=True))
        newest = lines.filter(verb__in=UNDOABLE).order_by("-pk")[:NEWEST]
        for line in reversed([line for line in newest if line.pk not in undone]):
            act = act_model.objects.using(db).create(
                sitting=sitting, verb=line.verb, version=1, who=line.who, before=before(line, frames)
            )
            act_model.objects.using(db).filter(pk=act.pk).update(done_at=line.at)


def before(line, frames):
    """As version 1 of `steps.sorting.before` is read. A restored sitting's line may name other sittings' frames."""
    detail = line.detail
    title = line.thing.partition(" → ")[2]
    gone = dict(detail.get("gone") or {})
    if gone:
        gone["id"] = gone.pop("pk")
    return {
        "places": [
            {"frame": int(pk), "look": look, "by_hand": by_hand}
            for pk, (look, by_hand) in detail.get("was", {}).items()
            if int(pk) in frames
        ],
        "hidden": {pk: was for pk, was in detail.get("hidden_was", {}).items() if int(pk) in frames},
        "gone": {"columns": gone, "references": [], "comments": []} if gone else None,
        "begun": detail.get("new_look"),
        "into": None,  # not said; nothing that was said of a look goes back to it
        "into_title": "" if title == "–" else title,
    }


class Migration(migrations.Migration):
    dependencies = [("galleries", "0018_days_to_answer_a_retouch")]

    operations = [
        migrations.CreateModel(
            name="Undoable",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("verb", models.CharField(max_length=40)),
                ("before", models.JSONField()),
                ("version", models.PositiveSmallIntegerField()),
                ("who", models.CharField(max_length=140)),
                ("done_at", models.DateTimeField(auto_now_add=True)),
                ("undone_at", models.DateTimeField(blank=True, null=True)),
                ("undone_by", models.CharField(blank=True, max_length=140)),
                (
                    "sitting",
                    models.ForeignKey(
                        on_delete=models.deletion.CASCADE, related_name="undoables", to="galleries.sitting"
                    ),
                ),
            ],
            options={
                "verbose_name": "act that can be taken back",
                "verbose_name_plural": "acts that can be taken back",
                "ordering": ["pk"],
                "indexes": [models.Index(fields=["sitting", "undone_at"], name="galleries_u_sitting_9e4edf_idx")],
            },
        ),
        migrations.RunPython(carry_over, migrations.RunPython.noop),
    ]
