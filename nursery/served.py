"""The application in a worker process of ``manage.py start``.

Ctrl-C in a terminal goes to every process of its group. The server's worker, told to stop by the terminal and
by its parent at once, may hang until it is killed. So it leaves the group, and its parent alone tells it.
"""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "nursery.settings")
if hasattr(os, "setpgrp"):
    os.setpgrp()
application = get_wsgi_application()
