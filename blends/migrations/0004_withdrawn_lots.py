"""A delivery entered wrong is withdrawn; its mark is then free for the delivery as it was."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("blends", "0003_one_day_per_garden")]

    operations = [
        migrations.AddField(model_name="lot", name="withdrawn", field=models.BooleanField(default=False)),
        migrations.RemoveConstraint(model_name="lot", name="blends_lot_code"),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.UniqueConstraint(
                fields=["programme", "code"],
                condition=models.Q(withdrawn=False),
                name="blends_lot_code",
            ),
        ),
    ]
