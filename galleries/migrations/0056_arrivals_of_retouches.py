
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('galleries', '0053_files_on_their_way_in'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='arrival',
            name='a_file_is_on_its_way_once',
        ),
        migrations.AddField(
            model_name='arrival',
            name='invite',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='galleries.invite'),
        ),
        migrations.AddField(
            model_name='arrival',
            name='kind',
            field=models.CharField(choices=[('frame', 'frame'), ('retouch', 'retouch')], db_default='frame', default='frame', max_length=8),
        ),
        migrations.AlterField(
            model_name='arrival',
            name='state',
            field=models.CharField(choices=[('sending', 'on its way'), ('arrived', 'waits to be looked at'), ('new', 'is here'), ('stray', 'waits for a choice'), ('same', 'was here already'), ('refused', 'refused')], default='sending', max_length=8),
        ),
        migrations.AlterField(
            model_name='arrival',
            name='user',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='arrival',
            constraint=models.UniqueConstraint(condition=models.Q(('state__in', ['sending', 'arrived'])), fields=('sitting', 'kind', 'user', 'sha256'), name='a_file_is_on_its_way_once'),
        ),
        migrations.AddConstraint(
            model_name='arrival',
            constraint=models.UniqueConstraint(condition=models.Q(('state__in', ['sending', 'arrived'])), fields=('sitting', 'kind', 'invite', 'sha256'), name='an_invited_file_is_on_its_way_once'),
        ),
        migrations.AddConstraint(
            model_name='arrival',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('invite__isnull', False), ('user__isnull', True)), models.Q(('invite__isnull', True), ('user__isnull', False)), _connector='OR'), name='a_file_has_one_sender'),
        ),
    ]
