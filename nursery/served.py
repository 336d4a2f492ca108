"""The application in a worker process of ``manage.py start``.

Ctrl-C in a terminal goes to every process of its group. The server's worker, told to stop by the terminal and
by its parent at once, hangs until it is killed. So it leaves the group, and its parent alone tells it.
"""

import os

from nursery.wsgi import application

if hasattr(os, "setpgrp"):
    os.setpgrp()

__all__ = ["application"]
