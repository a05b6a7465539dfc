"""Serve the site's own files under hashed names, third-party folders as they are."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class VendorAwareStorage(CompressedManifestStaticFilesStorage):
    """Leave vendored files unhashed: their modules find each other by plain name.

    Each vendored folder carries its version in its name, so it can be cached as
    well as a hashed file.
    """

    manifest_strict = False
    support_js_module_import_aggregation = True

    def hashed_name(
        self, name: str, content: object = None, filename: str | None = None
    ) -> str:
        """Give a vendored file its own name, any other its hashed one."""
        if name.startswith("vendor/"):
            return name
        hashed = super().hashed_name(name, content, filename)  # type: ignore[no-untyped-call]  # the library has no types
        return str(hashed)
