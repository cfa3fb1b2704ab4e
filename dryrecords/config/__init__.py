"""The composition root: settings, URLs, Celery and commands. Imported by nobody below it."""

from dryrecords.config.celery import app as celery_app

__all__ = ["celery_app"]
