"""The site for a WSGI server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.project.settings")

application = get_wsgi_application()

from deploy.project.boot import refuse_strong_role  # noqa: E402 - Django must be set up

refuse_strong_role()
