"""The ASGI entry point, for a server that speaks it."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "signfleet.settings")

application = get_asgi_application()
