"""The WSGI entry point: what gunicorn serves."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "signfleet.settings")

application = get_wsgi_application()
