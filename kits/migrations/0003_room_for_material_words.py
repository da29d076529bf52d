"""Room for the longest words of a membrane class or graft material; PostgreSQL refuses what does not fit."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("kits", "0002_bookings_known_by_files")]

    operations = [
        migrations.AlterField(
            model_name="case",
            name="graft_material",
            field=models.CharField(blank=True, max_length=40),
        ),
        migrations.AlterField(
            model_name="case",
            name="membrane_class",
            field=models.CharField(blank=True, max_length=40),
        ),
    ]
