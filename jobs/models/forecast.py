"""The last forecast of what to order, kept so that a page need not wait for it; it can be thrown away and made anew."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from inventory.models import Branch


class ForecastRun(models.Model):
    """One kept forecast: for a branch and a wanted certainty. ``seen`` says what was on record when it was made."""

    branch = models.ForeignKey(Branch, models.CASCADE, related_name="forecasts")
    certainty = models.FloatField()
    day = models.DateField()
    made_at = models.DateTimeField()
    took_ms = models.PositiveIntegerField()
    seen = models.CharField(max_length=200)
    result = models.JSONField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["branch", "certainty"], name="one_forecast_a_branch_and_certainty"),
        ]

    def __str__(self) -> str:
        return f"{self.day} at {self.certainty:g}"
