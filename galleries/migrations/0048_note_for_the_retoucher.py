"""A note of somebody who sends a version back says whether whoever retouches may read it."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("galleries", "0047_day_of_many_sitters"),
    ]

    operations = [
        migrations.AddField(
            model_name="approval",
            name="for_retoucher",
            field=models.BooleanField(db_default=False, default=False),
        ),
    ]
