"""How gunicorn serves the API; `manage.py serve` starts from the same settings.

Threads wait for half-sent bodies, so in the open this stands behind a proxy that buffers requests.
"""

import gc
import os
from typing import Any

bind = f"{os.environ.get('WEB_HOST', '127.0.0.1')}:{os.environ.get('WEB_PORT', '8000')}"
workers = int(os.environ.get("WEB_WORKERS", "2"))
threads = int(os.environ.get("WEB_THREADS", "4"))
worker_class = "gthread"
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108, PTH112  # nosec B108

timeout = 30
graceful_timeout = 8  # a stop asked for is done within 10 s
keepalive = 20

limit_request_line = 4094
limit_request_fields = 64
limit_request_field_size = 8190


def post_worker_init(worker: Any) -> None:
    """A worker takes the place of one that has ended, or is the first: what those have counted is kept.

    What is loaded stays for good, so that no request waits while the collector goes through it.
    """
    from coaching.post_counts import add_up_the_gone

    add_up_the_gone()
    gc.freeze()


accesslog = None  # request lines hold query strings
errorlog = "-"
control_socket_disable = True
logconfig_dict = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"()": "coaching.logs.line_formatter"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"level": "INFO", "handlers": ["stderr"]},
    "loggers": {"gunicorn.error": {"level": "INFO", "handlers": ["stderr"], "propagate": False}},
}
