"""The site's settings, read from the environment; safe unless told otherwise."""

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import environ
from csp.constants import NONCE, NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from deploy.project.env import (
    cache_location,
    database_from_url,
    mail_from_url,
    refuse_unknown,
)
from deploy.project.geo import gdal_library_path

env = environ.Env()
refuse_unknown(env)

BASE_DIR = Path(__file__).resolve().parents[2]
STATE_DIR = Path(env.str("WASHBOARD_STATE_DIR", default=str(BASE_DIR / ".state")))

DEBUG = False
SECRET_KEY = env.str("WASHBOARD_SECRET_KEY", default="")
if len(SECRET_KEY) < 50:
    raise ImproperlyConfigured(
        "WASHBOARD_SECRET_KEY is missing or shorter than 50 characters. deploy/start"
        " makes one; by hand: python3 -c 'import secrets;"
        "print(secrets.token_urlsafe(50))'."
    )

SITE_URL = env.str("WASHBOARD_SITE_URL", default="http://127.0.0.1:8000").rstrip("/")
SITE_HOST = urlsplit(SITE_URL).hostname or ""
HTTPS = env.bool("WASHBOARD_HTTPS", default=SITE_URL.startswith("https://"))
ALLOWED_HOSTS = env.list(
    "WASHBOARD_ALLOWED_HOSTS", default=[SITE_HOST, "127.0.0.1", "localhost", "[::1]"]
)
CSRF_TRUSTED_ORIGINS = [SITE_URL]
# The certificate of the authority that `deploy/start --tls` made, which sets this.
AUTHORITY_FILE = env.str("WASHBOARD_AUTHORITY_FILE", default="")

INSTALLED_APPS = [
    "deploy",
    "alerts",
    "monitoring",
    "blocks",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.gis",
    "django.contrib.humanize",
    "allauth",
    "allauth.account",
    "rest_framework",
    "drf_spectacular",
    "django_htmx",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "deploy.project.headers.PermissionsPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "deploy.project.problem_details.SentenceMiddleware",
]

ROOT_URLCONF = "deploy.project.urls"
WSGI_APPLICATION = "deploy.project.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "blocks.context.member",
            ],
        },
    }
]

# Two roles: the site's own, which owns nothing and is held by row-level security,
# and the owner's, which only provisioning and tests are given.
DATABASES = {
    "default": database_from_url(
        "WASHBOARD_DATABASE_URL",
        env.str("WASHBOARD_DATABASE_URL", default="postgresql:///washboard"),
    )
}
DATABASES["default"]["CONN_MAX_AGE"] = 0
DATABASES["default"]["OPTIONS"]["pool"] = {"min_size": 1, "max_size": 8, "timeout": 20}
if owner_url := env.str("WASHBOARD_OWNER_DATABASE_URL", default=""):
    DATABASES["owner"] = database_from_url("WASHBOARD_OWNER_DATABASE_URL", owner_url)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
GDAL_LIBRARY_PATH = gdal_library_path()

AUTH_USER_MODEL = "blocks.User"
AUTHENTICATION_BACKENDS = [
    "allauth.account.auth_backends.AuthenticationBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {
        "NAME": "django.contrib.auth.password_validation."
        "UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["email", "name"]},
    },
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
ACCOUNT_ADAPTER = "blocks.accounts.ClosedAccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_USER_MODEL_EMAIL_FIELD = "email"
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_LOGOUT_ON_GET = False
ACCOUNT_USER_DISPLAY = str
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "account_login"

SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SAMESITE = "Lax"
if HTTPS:
    SESSION_COOKIE_NAME = "__Host-sessionid"
    CSRF_COOKIE_NAME = "__Host-csrftoken"
    SECURE_SSL_REDIRECT = True
    if not AUTHORITY_FILE:
        SECURE_HSTS_SECONDS = 365 * 24 * 3600
        SECURE_HSTS_INCLUDE_SUBDOMAINS = True
        SECURE_HSTS_PRELOAD = True
    # With a certificate of its own there is none of it. A browser that once saw the
    # header lets nobody past a certificate that it does not trust (RFC 6797, 12.1), and
    # takes `localhost` and this machine's names for https on every port, for a year:
    # a lost authority, or the next start without --tls, would lock people out.
    if env.int("WASHBOARD_PROXY_COUNT", default=0):
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

_csp: dict[str, list[Any]] = {
    "default-src": [NONE],
    "script-src": [SELF],
    "style-src": [SELF, NONCE],
    "img-src": [SELF, "data:", "blob:"],
    "font-src": [SELF],
    "connect-src": [SELF],
    "worker-src": [SELF],
    "manifest-src": [SELF],
    "form-action": [SELF],
    "base-uri": [NONE],
    "frame-ancestors": [NONE],
    "object-src": [NONE],
}

# Uploads: a sheet or boundary file of at most 20 MB, kept on disk while it arrives.
FILES_DIR = STATE_DIR / "files"
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_621_440
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2_621_440
FILE_UPLOAD_PERMISSIONS = 0o600
UPLOAD_LIMIT_BYTES = 20 * 1024 * 1024

STATIC_URL = "/static/"
STATIC_ROOT = STATE_DIR / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "deploy.project.static.VendorAwareStorage"},
}
MEDIA_ROOT = FILES_DIR

EMAIL_FILE_PATH = str(STATE_DIR / "mail")
_mail = mail_from_url(
    env.str("WASHBOARD_EMAIL_URL", default=f"folder://{STATE_DIR}/mail")
)
vars().update(_mail)
# Mail in a folder is for the demo, which shows it on a page.
SHOWS_MAIL = "EMAIL_FILE_PATH" in _mail
DEFAULT_FROM_EMAIL = env.str(
    "WASHBOARD_EMAIL_FROM", default=f"Washboard <alerts@{SITE_HOST or 'localhost'}>"
)

REDIS_URL = env.str("WASHBOARD_REDIS_URL", default="redis://127.0.0.1:6379/0")
CELERY_BROKER_URL = REDIS_URL
# Only what may be lost at any moment: how far a sheet has got, and rate limits.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": cache_location(REDIS_URL),
        "KEY_PREFIX": "washboard-cache",
    }
}

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = "en"
USE_I18N = True

CONTENT_SECURITY_POLICY = {"DIRECTIVES": _csp}

# Names only, so that nothing lower imports anything higher: publishing wakes the
# densities task, and new densities wake the alerts task.
WAKE_DENSITIES_TASK = "monitoring.tasks.compute_changed_densities"
WAKE_ALERTS_TASK = "alerts.tasks.evaluate_changes"
THRESHOLDS_IN_FORCE = "alerts.queries.thresholds_in_force"
STANDING_ALERTS = "alerts.queries.standing_alerts"

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["blocks.api.signing_in.SiteSession"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "deploy.project.problem_details.problem_response",
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Washboard",
    "VERSION": "0.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "INFO"},
}
