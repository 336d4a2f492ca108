"""Hashed names for static files, module imports included."""

from django.contrib.staticfiles.storage import ManifestStaticFilesStorage


class HashedStaticStorage(ManifestStaticFilesStorage):
    """Serve each file under a name that holds its hash, so that browsers may keep it for good."""

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
