from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('stock', '0001_catalogue_ledger_orders'),
    ]

    operations = [
        migrations.AddConstraint(
            model_name='entry',
            constraint=models.CheckConstraint(condition=models.Q(('recorded_at__gte', models.F('at'))), name='entry_recorded_after_it_happened'),
        ),
        migrations.AddConstraint(
            model_name='entry',
            constraint=models.UniqueConstraint(fields=('corrects',), name='entry_corrected_once'),
        ),
    ]
