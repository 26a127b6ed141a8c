"""Entry point of the web server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
application = get_wsgi_application()

from portal import celery  # noqa: E402, F401 - pages ring the worker: loaded before the first of them is asked for
