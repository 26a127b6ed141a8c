"""The Django project: settings, URLs, queue, health. The product lives in `galleries`."""

from portal.celery import app as celery_app

__all__ = ["celery_app"]
