from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("galleries", "0010_look_then_send")]

    operations = [
        migrations.AddField(
            "signinlink", "sent_to", models.EmailField(max_length=254, blank=True, default="", db_default="")
        ),
    ]
