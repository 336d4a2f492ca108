"""Every address of the program, in one list."""

from django.urls import path

from nursery.views.api import api_marks

urlpatterns: list = [
    # Marks
    path("api/marks", api_marks, name="api-marks"),
]
