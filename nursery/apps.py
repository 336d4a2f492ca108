"""The one Django app of the project."""

from django.apps import AppConfig


class NurseryConfig(AppConfig):
    name = "nursery"
    default_auto_field = "django.db.models.BigAutoField"
