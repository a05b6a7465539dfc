"""The site for an ASGI server."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.project.settings")

application = get_asgi_application()

from deploy.project.boot import refuse_strong_role  # noqa: E402 - Django must be set up

refuse_strong_role()
