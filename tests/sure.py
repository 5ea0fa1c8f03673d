"""The box that says an unlikely answer is right, as a page that asked sends it back."""

from __future__ import annotations

from typing import Any


def sure_of(page: Any) -> dict[str, str]:
    """The box ticked, for the answers this page asked about."""
    return {"ask_sure": page.context["hidden"]["ask_sure"], "sure": "on"}
