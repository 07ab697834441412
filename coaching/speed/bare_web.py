"""What gunicorn serves as the bare Django."""

from django.core.wsgi import get_wsgi_application

application = get_wsgi_application()
