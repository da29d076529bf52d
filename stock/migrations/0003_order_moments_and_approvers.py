from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('stock', '0002_entry_corrected_once_and_in_time'),
    ]

    operations = [
        migrations.AddConstraint(
            model_name='order',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('state__in', ['sent', 'part-received', 'received']), _negated=True), ('sent_at__isnull', False), _connector='OR'), name='order_sent_has_moment'),
        ),
        migrations.AddConstraint(
            model_name='order',
            constraint=models.CheckConstraint(condition=models.Q(('second_approved_by__isnull', True), models.Q(('second_approved_by', models.F('approved_by')), _negated=True), _connector='OR'), name='order_approvers_differ'),
        ),
    ]
