"""Two clicks at once no longer make two mixing days of one."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("blends", "0002_flags_of_a_told_hand_over")]

    operations = [
        migrations.AddConstraint(
            model_name="mixingday",
            constraint=models.UniqueConstraint(
                fields=["programme", "garden", "day"], name="blends_mixingday_one_per_garden"
            ),
        ),
    ]
