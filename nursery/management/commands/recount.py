"""``manage.py recount``: prove every stored count from the marks; exit 1 with the differences."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from nursery.actions.recount import differences
from nursery.models import DayCount


class Command(BaseCommand):
    help = "Fold all marks again in plain Python and compare every count and flag. Changes nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = 0
        for difference in differences():
            wrong += 1
            self.stderr.write(difference)
        if wrong:
            raise CommandError(f"{wrong} differences. The marks are right; the counts are not.")
        self.stdout.write(f"{DayCount.objects.count()} counts agree with their marks.")
