"""Every setting, read from the environment once; a checkout runs with none of them set."""

import os
import secrets
from datetime import timedelta
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured
from environs import Env

# Many small fits run faster without a thread pool for each; read when numpy is first loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

env = Env()

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.str("FORBEAR_VAR_DIR", str(BASE_DIR / "var")))
VAR_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)  # health data lies in it


def read_or_make_secret(path: Path) -> str:
    """The secret kept in `path`, made with mode 0600 on first use; safe when two processes start at once."""
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(descriptor, "w") as file:
        secret = secrets.token_urlsafe(48)
        file.write(secret + "\n")
    return secret


def refuse_unsafe(demands: dict[str, bool]) -> None:
    """Stop the start with every demand of production that is not met."""
    unmet = [demand for demand, is_met in demands.items() if not is_met]
    if unmet:
        raise ImproperlyConfigured("Not started, since PRODUCTION is on: " + "; ".join(unmet) + ".")


PRODUCTION = env.bool("PRODUCTION", False)
DEBUG = env.bool("DEBUG", False)
DATABASE_URL = env.str("DATABASE_URL", "")
MIGRATION_DATABASE_URL = env.str("MIGRATION_DATABASE_URL", "")
REDIS_URL = env.str("REDIS_URL", "")
EMAIL_URL = env.str("EMAIL_URL", "")
GIVEN_SECRET_KEY = env.str("SECRET_KEY", "")
PUBLIC_URL = env.str("PUBLIC_URL", "http://127.0.0.1:8000")
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", ["localhost", "127.0.0.1", "[::1]"])
METRICS_TOKEN = env.str("METRICS_TOKEN", "")
if PRODUCTION:
    refuse_unsafe(
        {
            "DEBUG must be off": not DEBUG,
            "SECRET_KEY must be in the environment, 50 characters or more": len(GIVEN_SECRET_KEY) >= 50,
            "ALLOWED_HOSTS must name the hosts it answers to": "ALLOWED_HOSTS" in os.environ
            and "*" not in ALLOWED_HOSTS,
            "METRICS_TOKEN must have 32 characters or more, or none": not 0 < len(METRICS_TOKEN) < 32,
            "PUBLIC_URL must begin with https://": PUBLIC_URL.startswith("https://"),
        }
    )
SECRET_KEY = GIVEN_SECRET_KEY or read_or_make_secret(VAR_DIR / "secret_key")
# Earlier secrets: what they signed still holds, nothing new is signed with them.
SECRET_KEY_FALLBACKS: list[str] = env.list("SECRET_KEY_FALLBACKS", [])

INSTALLED_APPS = [
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.staticfiles",
    "corsheaders",
    "knox",
    "rest_framework",
    "drf_standardized_errors",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "coaching",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "api.middleware.SafeAnswerMiddleware",
    "corsheaders.middleware.CorsMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "api.middleware.RequestIdMiddleware",
    "api.middleware.RefusalMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "api.middleware.LengthRequiredMiddleware",
]
ROOT_URLCONF = "api.urls"
WSGI_APPLICATION = "api.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {"string_if_invalid": ""},
    }
]

SQLITE = {
    "ENGINE": "coaching.sqlite_in_turn",
    "OPTIONS": {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
    },
    # Opening the file, and closing it as the last one, takes longer than most of what is asked of it.
    "CONN_MAX_AGE": None,
}
# A database that is away, or busy for too long, must not hold a request: it answers 503 after two seconds of
# waiting for a connection (others wait for its thread) or five for a lock, and the server ends what was asked
# of it and takes too long.
POSTGRESQL_OPTIONS = {
    "connect_timeout": 3,
    "options": "-c lock_timeout=5s -c statement_timeout=30s -c idle_in_transaction_session_timeout=60s",
    # The statements of `models/statements.py`, and no others, are planned once for each connection.
    "prepare_threshold": 0,
    # A server that vanished without a word is given up in less than a minute.
    "keepalives_idle": 20,
    "keepalives_interval": 5,
    "keepalives_count": 4,
    "tcp_user_timeout": 40_000,
    # A server that came back is found within seconds: attempts that wait longer and longer are given up soon,
    # and the next request begins them anew.
    "pool": {
        "min_size": 1,
        "max_size": env.int("DATABASE_POOL_SIZE", 10),
        "timeout": 2,
        "reconnect_timeout": 2,
    },
}
if DATABASE_URL:
    DATABASES = {"default": env.dj_db_url("DATABASE_URL")}
    if DATABASES["default"]["ENGINE"].endswith("postgresql"):
        DATABASES["default"]["CONN_MAX_AGE"] = 0
        # Asked before each use, so that a server that came back costs nobody a 503.
        DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
        DATABASES["default"]["OPTIONS"] = POSTGRESQL_OPTIONS | DATABASES["default"].get("OPTIONS", {})
    else:
        DATABASES["default"] |= SQLITE
else:
    DATABASES = {"default": SQLITE | {"NAME": VAR_DIR / "forbear.sqlite3"}}
# The tables' owner, for migrations and grants alone; DATABASE_URL names a role that the policies hold for.
DATABASE_OWNER = env.dj_db_url("MIGRATION_DATABASE_URL") if MIGRATION_DATABASE_URL else None
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "coaching.Account"
# Knox's own table is swapped out; its migrations would still make it, with a foreign key that is in the way.
MIGRATION_MODULES = {"knox": None}
KNOX_TOKEN_MODEL = "coaching.DeviceToken"  # noqa: S105 - a model's name, not a secret
SILENCED_SYSTEM_CHECKS = [
    "auth.E003",  # e-mail is unique without case, by a functional constraint that the check does not see
    "security.W003",  # no cookie is ever taken for a sign-in, so there is no request to forge
    "security.W005",  # what other hosts of the domain do, and lists of browsers, are the operator's affair
    "security.W021",
    "security.W008",  # plain http is refused and not redirected: a token sent in clear is not sent twice
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
PASSWORD_RESET_TIMEOUT = 10 * 60
# Pages of a front end that take a token behind the #; without them the mails tell the token itself.
INVITATION_URL = env.str("INVITATION_URL", "")
PASSWORD_RESET_URL = env.str("PASSWORD_RESET_URL", "")
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)  # the file server warns about a folder that is not there
WHITENOISE_USE_FINDERS = True  # the docs page's files come straight from the installed package

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_HSTS_SECONDS = env.int("HSTS_SECONDS", 365 * 24 * 3600 if PRODUCTION else 0)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if env.bool("BEHIND_PROXY", False) else None
X_FRAME_OPTIONS = "DENY"
# Pages of other origins may call the API only where the operator names them; never with cookies.
CORS_ALLOWED_ORIGINS: list[str] = env.list("CORS_ALLOWED_ORIGINS", [])
CORS_ALLOW_HEADERS = ["accept", "authorization", "content-type", "if-match", "if-none-match"]
CORS_EXPOSE_HEADERS = ["ETag", "Link", "Retry-After", "WWW-Authenticate", "X-Request-Id"]
CORS_PREFLIGHT_MAX_AGE = 3600
APPEND_SLASH = False
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["api.authentication.DeviceTokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PARSER_CLASSES": ["api.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "api.schema.ProblemAutoSchema",
    "EXCEPTION_HANDLER": "api.exception_handler.handle_exception",
    "UNAUTHENTICATED_USER": None,
    "COERCE_DECIMAL_TO_STRING": True,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
REST_KNOX = {
    "TOKEN_TTL": timedelta(days=90),
    "AUTO_REFRESH": False,
    "AUTH_HEADER_PREFIX": "Bearer",
    "TOKEN_PREFIX": "fbr_",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Forbear",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "COMPONENT_SPLIT_REQUEST": True,
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_AUTHENTICATION": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    # Left out, the page would ask a validator elsewhere as soon as it is not called by a loopback address.
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "validatorUrl": None},
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "PATH_CONVERTER_OVERRIDES": {"made": {"type": "string", "format": "uuid"}},
    "POSTPROCESSING_HOOKS": ["drf_spectacular.hooks.postprocess_schema_enums", "api.document.finish"],
    "ENUM_NAME_OVERRIDES": {
        "JointEnum": "api.schema.JOINTS",
        "SiteSideEnum": "api.schema.SITE_SIDES",
        "SetSideEnum": "api.schema.SET_SIDES",
        "InjuryStatusEnum": "api.schema.INJURY_STATUSES",
        "RestrictionKindEnum": "api.schema.RESTRICTION_KINDS",
    },
}

# Named to prometheus_client too, which must know before its first import that it counts for many processes.
METRICS_DIR = VAR_DIR / "metrics"
os.environ["PROMETHEUS_MULTIPROC_DIR"] = str(METRICS_DIR)

OUTBOX_DIR = VAR_DIR / "outbox"
DEFAULT_FROM_EMAIL = env.str("FROM_EMAIL", "Forbear <forbear@localhost>")
if EMAIL_URL:
    _email = env.dj_email_url("EMAIL_URL")
    EMAIL_BACKEND = _email["EMAIL_BACKEND"]
    EMAIL_HOST = _email["EMAIL_HOST"]
    EMAIL_PORT = _email["EMAIL_PORT"]
    EMAIL_HOST_USER = _email["EMAIL_HOST_USER"]
    EMAIL_HOST_PASSWORD = _email["EMAIL_HOST_PASSWORD"]
    EMAIL_USE_TLS = _email["EMAIL_USE_TLS"]
    EMAIL_USE_SSL = _email["EMAIL_USE_SSL"]
    EMAIL_TIMEOUT = 10
else:
    EMAIL_BACKEND = "coaching.outbox.EmlFileBackend"

WEBHOOK_PORTS = env.list("FORBEAR_WEBHOOK_PORTS", [443], subcast=int)
# Origins such as http://127.0.0.1:8123 that webhooks may call although nothing else may: for tests only.
WEBHOOK_TEST_ADDRESSES: list[str] = env.list("FORBEAR_WEBHOOK_TEST_ADDRESSES", [])

CELERY_BROKER_URL = REDIS_URL or "redis://127.0.0.1:6379/0"
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_TIME_LIMIT = 60
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 120,
    "unacked_restore_throttle": 1,
    "socket_timeout": 10,
    "socket_connect_timeout": 2,
}
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"()": "coaching.logs.line_formatter"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "loggers": {
        "httpx": {"level": "WARNING"},  # it would log whole addresses
        "httpcore": {"level": "WARNING"},  # and this one signatures
        "fpdf": {"level": "ERROR"},  # it would log letters of names that its font lacks,
        "fontTools": {"level": "WARNING"},  # and this one every letter of a document
        # Their own handlers know nothing of `hide_tokens`.
        "django": {"handlers": []},
        "django.server": {"handlers": [], "propagate": True},
        "django.request": {"level": "ERROR"},  # refusals are told by api.middleware, by route
    },
    "root": {"handlers": ["stderr"], "level": env.str("LOG_LEVEL", "INFO")},
}
