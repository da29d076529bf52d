"""How files of bookings know the cases they booked, so that a list and a calendar lead to one case."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kits", "0001_procedures_cases_trays"),
        ("practice", "0002_uploads"),
    ]

    operations = [
        migrations.CreateModel(
            name="FileBooking",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("identity", models.CharField(max_length=120)),
                ("procedures", models.CharField(max_length=255)),
                ("teeth", models.CharField(blank=True, max_length=160)),
                ("read_at", models.DateTimeField()),
                (
                    "case",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="file_bookings",
                        to="kits.case",
                    ),
                ),
                (
                    "clinic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="practice.clinic"
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("clinic", "identity"), name="file_booking_names_one_case"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("identity", ""), _negated=True), name="file_booking_has_identity"
                    ),
                ],
            },
        ),
    ]
