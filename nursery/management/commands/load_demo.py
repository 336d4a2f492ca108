"""``manage.py load_demo``: build the demonstration farm in an empty book."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from nursery.actions.demo import load_demo


class Command(BaseCommand):
    help = "Fill an empty book with the demonstration farm: invented people, cultivars and counts."

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            flats = load_demo(timezone.now())
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"The demonstration farm is in the book: {flats} flats. All of it is invented.")
