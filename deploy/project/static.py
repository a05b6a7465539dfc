"""Serve the site's own files under hashed names, third-party folders as they are."""

from whitenoise.storage import CompressedManifestStaticFilesStorage

# Names that are not hashed. The scripts that come with django_htmx name types in
# their remarks, which the storage takes for modules and does not find.
UNHASHED = ("vendor/", "django_htmx/")


class VendorAwareStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise has no types
    """Leave vendored files unhashed: their modules find each other by plain name.

    Each vendored folder carries its version in its name, so it can be cached as
    well as a hashed file.
    """

    manifest_strict = False
    support_js_module_import_aggregation = True
    # Modules import modules: each pass hashes one more step of the way up. Two that
    # import each other are never done.
    max_post_process_passes = 12

    def hashed_name(
        self, name: str, content: object = None, filename: str | None = None
    ) -> str:
        """Give a vendored file its own name, any other its hashed one."""
        if name.startswith(UNHASHED):
            return name
        hashed = super().hashed_name(name, content, filename)
        return str(hashed)
