"""A plan with keys nobody can have chosen is refused, not broken."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.urls import reverse

from tests.jobs.test_planning_pages import client_of, world

__all__ = ["world"]
pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("field", ["steps-0-tool_type", "steps-0-zone", "shifts-0-lead", "shifts-0-machines"])
def test_a_key_of_29_digits_is_none_of_the_list(world: SimpleNamespace, field: str) -> None:
    ines = client_of(world.cast.ines)
    url = reverse("jobs:plan", args=[world.mine.job_id])
    form = ines.get(url).context["form"]
    sent = {f"{prefix}-count": "1" for prefix in ("zones", "steps", "shifts")}
    sent |= {name: str(form[name].value() or "") for name in form.fields}
    sent |= {"steps-0-tool_type": str(world.four.pk), "shifts-0-day": "2031-03-03", field: "9" * 29, "keep": "1"}
    for more in ({}, {"propose": "1", "ladder_from": "9" * 29}, {"add": "steps"}):
        assert ines.post(url, sent | more).status_code in (200, 422)
