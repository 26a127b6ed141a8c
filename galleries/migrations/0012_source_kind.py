from django.db import migrations


class Migration(migrations.Migration):
    """'mark' is a person's word on a frame; what a size's numbers rest on is the kind of its source."""

    dependencies = [("galleries", "0011_sign_in_letters")]

    operations = [migrations.RenameField("deliverysize", "mark", "source_kind")]
