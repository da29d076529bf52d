from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('practice', '0003_second_approval_above_five_thousand'),
    ]

    operations = [
        migrations.AddField(
            model_name='patient',
            name='consent_asked_on',
            field=models.DateField(blank=True, help_text='Day the patient was last asked', null=True),
        ),
    ]
