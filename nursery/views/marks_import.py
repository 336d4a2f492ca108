"""Take in a tablet's file of waiting marks in the browser."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from nursery import access
from nursery.actions.marks_file import import_marks
from nursery.forms.marks_file import MarksFileForm
from nursery.views.page import read_and_post


@read_and_post
def marks_import(request: HttpRequest) -> HttpResponse:
    """Choose the file; then say what became of each of its parts."""
    access.require_grower(request.user)
    context = {"form": MarksFileForm(), "outcome": None}
    if request.method == "POST":
        form = MarksFileForm(request.POST, request.FILES)
        if not form.is_valid():
            return render(request, "device/import.html", {"form": form}, status=422)
        file = form.cleaned_data["file"]
        context["outcome"] = import_marks(file, now=timezone.now(), importer=request.user)
    return render(request, "device/import.html", context)
