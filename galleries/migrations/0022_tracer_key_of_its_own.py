import secrets

from django.db import migrations, models


def part_equal_keys(apps, schema):
    """0006 gave every sitting that was there already one and the same key. The oldest of those that share one keeps
    it; the others get keys of their own, and keep the old one to trace what was served under it."""
    sittings = apps.get_model("galleries", "Sitting").objects.using(schema.connection.alias)
    shared = sittings.values("tracer_key").annotate(count=models.Count("pk")).filter(count__gt=1)
    for key in list(shared.values_list("tracer_key", flat=True)):
        first, *others = sittings.filter(tracer_key=key).order_by("pk").values_list("pk", flat=True)
        for pk in others:
            sittings.filter(pk=pk).update(tracer_key=secrets.token_hex(), tracer_key_before=key)


def together_again(apps, schema):
    """What is served meanwhile under a key of its own is not traced by the release before."""
    sittings = apps.get_model("galleries", "Sitting").objects.using(schema.connection.alias)
    sittings.exclude(tracer_key_before="").update(tracer_key=models.F("tracer_key_before"))


class Migration(migrations.Migration):
    dependencies = [("galleries", "0021_own_copies")]

    operations = [
        migrations.AddField(
            "sitting",
            "tracer_key_before",
            models.CharField(max_length=64, blank=True, default="", db_default="", editable=False),
        ),
        migrations.RunPython(part_equal_keys, together_again),
    ]
