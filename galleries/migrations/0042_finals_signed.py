from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("galleries", "0041_final_from_camera_picture"),
    ]

    operations = [
        migrations.AddField(
            model_name="studio",
            name="sign_finals",
            field=models.BooleanField(db_default=True, default=True, verbose_name="sign where finals come from"),
        ),
    ]
