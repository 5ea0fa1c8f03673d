"""The work, in the office: to read."""

from inventory.admin import show_all

show_all("jobs")
