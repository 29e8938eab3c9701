"""Two more things that a told hand-over may need to have settled: a closed day, another blend."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("blends", "0001_initial")]

    operations = [
        migrations.AlterField(
            model_name="flag",
            name="code",
            field=models.CharField(
                choices=[
                    ("lacked", "the book held less than was taken"),
                    ("twice", "more was handed out than the portion"),
                    ("held", "taken from a pail that was not released"),
                    ("outside", "a count outside what weighing explains"),
                    ("over", "more stood there than the book said"),
                    ("late", "told after the day was closed"),
                    ("other", "from a pail of another blend"),
                ],
                max_length=10,
            ),
        ),
    ]
