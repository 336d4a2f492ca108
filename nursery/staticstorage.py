"""Hashed names for static files, module imports included."""

from django.contrib.staticfiles.storage import ManifestStaticFilesStorage


class HashedStaticStorage(ManifestStaticFilesStorage):
    """Serve each file under a name that holds its hash, so that browsers may keep it for good."""

    support_js_module_import_aggregation = True
    manifest_strict = False
