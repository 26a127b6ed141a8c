"""Entry point of the web server."""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
application = get_wsgi_application()

from portal import bells, warm  # noqa: E402, F401 - pages ring the worker: loaded before the first is asked for

warm.warm()

# What is loaded now stays: a page of hundreds of frames would else have the collector walk all of it several times.
gc.collect()
gc.freeze()
gc.set_threshold(20_000, 20, 20)
