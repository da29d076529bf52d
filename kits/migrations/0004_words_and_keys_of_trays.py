"""A word why none was placed, and a key so that a form sent twice records use once."""

from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kits", "0003_room_for_material_words"),
        ("stock", "0003_order_moments_and_approvers"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="trayline",
            name="none_used_because",
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name="trayunit",
            name="form_key",
            field=models.CharField(blank=True, max_length=80),
        ),
        migrations.AddConstraint(
            model_name="trayunit",
            constraint=models.UniqueConstraint(
                condition=models.Q(("form_key", ""), _negated=True),
                fields=("form_key", "lot"),
                name="tray_unit_once_per_form",
            ),
        ),
    ]
