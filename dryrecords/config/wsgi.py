"""WSGI entry for the web server."""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dryrecords.config.settings")

application = get_wsgi_application()
# What is loaded now stays for good: the garbage collector need not walk through it during every large request.
_ = get_resolver().url_patterns
gc.collect()
gc.freeze()
