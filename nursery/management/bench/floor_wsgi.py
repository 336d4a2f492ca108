"""The program with the floors' addresses beside its own, as a server serves it for the benchmarks."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "nursery.settings")
settings.ROOT_URLCONF = "nursery.management.bench.floor_urls"
application = get_wsgi_application()
