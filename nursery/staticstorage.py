"""Hashed names for static files, module imports included, and a compressed copy beside each of them."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from django.contrib.staticfiles.storage import ManifestStaticFilesStorage
from whitenoise.compress import Compressor


class HashedStaticStorage(ManifestStaticFilesStorage):
    """Serve each file under a name that holds its hash, so that browsers may keep it for good.

    Files of earlier versions stay in the folder: pages loaded before an update go on asking for them.
    """

    support_js_module_import_aggregation = True
    manifest_strict = False

    def hashed_name(self, name, content=None, filename=None):
        """Return the name with its hash; a missing file is an error, but for what htmx's comments name.

        The extensions that django-htmx ships say ``import("../htmx")`` in comments on types, which Django
        takes for an import of a file that is not there.
        """
        try:
            return super().hashed_name(name, content, filename)
        except ValueError:
            if name.startswith("django_htmx/"):
                return name
            raise

    def post_process(self, *args, **kwargs) -> Iterator[tuple[str, str | None, bool | Exception]]:
        """Hash, then compress what has no compressed copy yet: a name holds the hash of what is in it."""
        compressor = Compressor(use_brotli=False, quiet=True)
        for name, hashed, processed in super().post_process(*args, **kwargs):
            yield name, hashed, processed
            if isinstance(hashed, str) and hashed != name and compressor.should_compress(hashed):
                _compress_once(Path(self.path(hashed)), compressor)


def _compress_once(path: Path, compressor: Compressor) -> None:
    """Write the compressed copy whole or not at all: a start may be cut off at any moment."""
    copy = path.with_name(f"{path.name}.gz")
    if copy.exists() or not path.exists():
        return
    plain = path.read_bytes()
    packed = compressor.compress_gzip(plain)
    if not compressor.is_compressed_effectively("gzip", str(path), len(plain), packed):
        return
    handle, written = tempfile.mkstemp(dir=path.parent)
    with os.fdopen(handle, "wb") as file:
        file.write(packed)
    os.chmod(written, 0o644)
    os.replace(written, copy)
