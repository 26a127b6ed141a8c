"""Settings, all from the environment, with defaults that run the embedded site safely on one machine.

Every variable read here is described in DEVELOPERS.md; a test says so.
"""

from __future__ import annotations

import os
import secrets
import sys
from pathlib import Path
from typing import Any

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from portal import buckets, cookies, database, embedded, env, syslog, unencrypted
from portal.owner import is_guest, only_the_owner

BASE_DIR = Path(__file__).resolve().parent.parent
SITE_DIR = env.folder("PORTAL_HOME", BASE_DIR / ".site")
GUEST = is_guest(SITE_DIR, sys.argv)
# Tables, letters and sessions lie in it: nobody else on the machine looks in.
if not GUEST:
    only_the_owner(SITE_DIR)

DEBUG = env.flag("PORTAL_DEBUG", False)


def _secret_key() -> str:
    """The key from the environment, or one made once and kept, readable by the owner only, in the site's folder."""
    given = env.text("PORTAL_SECRET_KEY")
    if given:
        if len(given) < 32:
            raise ImproperlyConfigured("PORTAL_SECRET_KEY is too short; use 32 characters or more.")
        return given
    if GUEST:
        return secrets.token_urlsafe(48)
    kept = SITE_DIR / "secret-key"
    try:
        with open(kept, "x", opener=lambda path, flags: os.open(path, flags, 0o600)) as file:
            file.write(secrets.token_urlsafe(48))
    except FileExistsError:
        pass
    return kept.read_text().strip()


SECRET_KEY = _secret_key()
BASE_URL = env.text("PORTAL_URL", "http://localhost:8010").rstrip("/")
SECURE = BASE_URL.startswith("https://")
ALLOWED_HOSTS = env.names("PORTAL_HOSTS", "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = [BASE_URL]
unencrypted.check(BASE_URL, ALLOWED_HOSTS, allowed=env.flag("PORTAL_PLAIN_HTTP", False))

INSTALLED_APPS = [
    "galleries",
    "csp",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "portal.headers.OnePolicy",
    "portal.headers.PrivacyHeaders",
    # Before all that it does without.
    "galleries.web.straight.StraightWay",
    "portal.visits.Sessions",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "galleries.web.device.DeviceCookie",
    "galleries.web.listed.ListedSession",
    "galleries.web.idle.IdleLimit",
    "portal.bodies.BodyLimit",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "galleries.web.errors.DomainErrors",
    "galleries.web.coming_in.SecondFactorFirst",
]

ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "galleries.web.context.visitor",
            ],
        },
    },
]

DATABASES: dict[str, Any] = {
    "default": database.from_address(env.text("PORTAL_DATABASE", f"sqlite://{SITE_DIR / 'portal.sqlite3'}"))
}
if GUEST and not env.text("PORTAL_DATABASE"):
    DATABASES["default"]["NAME"] = ":memory:"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- files ---
# Private: originals, retouches, finals, archives. Proofs: stamped derivatives. Neither has a public address.
FILES = env.one_of("PORTAL_FILES", "folder", ("folder", "s3"))
# A proxy of another user sends the pictures: the group of both may read the stores, and nothing else of the site.
FILES_FOR_GROUP = env.flag("PORTAL_FILES_FOR_GROUP", False)


FILES_FOLDERS = [env.folder("PORTAL_FILES_DIR", SITE_DIR / "files")] if FILES == "folder" else []


def _store(name: str, to: str = "PORTAL_") -> dict[str, Any]:
    """`to`: how the settings of its place begin."""
    if env.one_of(f"{to}FILES", "folder", ("folder", "s3")) == "folder":
        folder = env.folder("PORTAL_FILES_DIR", SITE_DIR / "files")
        return {
            "BACKEND": "galleries.storage.FolderStore",
            "OPTIONS": {
                "location": str(folder / name),
                "base_url": None,
                "file_permissions_mode": 0o640 if FILES_FOR_GROUP else 0o600,
                "directory_permissions_mode": 0o750 if FILES_FOR_GROUP else 0o700,
            },
        }
    bucket = env.text(f"{to}S3_BUCKET_{name.upper()}")
    if not bucket:
        raise ImproperlyConfigured(f"{to}FILES is 's3' but {to}S3_BUCKET_{name.upper()} is not set.")
    return buckets.store(
        bucket,
        endpoint=env.text(f"{to}S3_ENDPOINT") or None,
        key=env.text(f"{to}S3_KEY") or None,
        secret=env.text(f"{to}S3_SECRET") or None,
        region=env.text(f"{to}S3_REGION", "us-east-1"),
    )


STATIC_URL = "/static/"
STATIC_ROOT = env.folder("PORTAL_STATIC_DIR", SITE_DIR / "static")
STORAGES: dict[str, Any] = {
    "default": _store("private"),
    "private": _store("private"),
    "proofs": _store("proofs"),
    "staticfiles": {"BACKEND": "portal.static.StaticFiles"},
}
# Where 'manage.py move-files' brings them; nothing else uses it.
if env.text("PORTAL_NEXT_FILES"):
    STORAGES |= {f"next {name}": _store(name, "PORTAL_NEXT_") for name in ("private", "proofs")}
WHITENOISE_AUTOREFRESH = False
# With a reverse proxy in front, pictures and archives leave by an internal redirect after the permission check.
INTERNAL_REDIRECT = env.flag("PORTAL_INTERNAL_REDIRECT", False)
# Uploads land here first, beside the store, so that the last step is a rename and never half a file.
INCOMING_DIR = env.folder("PORTAL_INCOMING_DIR", SITE_DIR / "incoming")
FILE_UPLOAD_TEMP_DIR = None
# Less than this free on a disk the site writes on, and `/health/ready` says so before it is full.
DISK_SPARE = env.whole("PORTAL_DISK_SPARE", 1_000_000_000, least=0)
DATA_UPLOAD_MAX_MEMORY_SIZE = 5_000_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 1_000_000

MAX_FRAME_BYTES = env.whole("PORTAL_MAX_FRAME_BYTES", 300_000_000, least=1_000_000)
MAX_FRAME_PIXELS = env.whole("PORTAL_MAX_FRAME_PIXELS", 220_000_000, least=1_000_000)
MAX_FRAME_SIDE = env.whole("PORTAL_MAX_FRAME_SIDE", 30_000, least=1_000)
VERIFY_SECONDS = env.whole("PORTAL_VERIFY_SECONDS", 60, least=1)
# A ClamAV daemon that is shown every file before it is kept; none: none is asked.
SCANNER = env.text("PORTAL_SCANNER")
SCANNER_SECONDS = env.whole("PORTAL_SCANNER_SECONDS", 60, least=1)
DECODER_SOCKET = env.text("PORTAL_DECODER_SOCKET")
# Painted frames of the demo: made once, kept between starts.
DEMO_CACHE = env.folder("PORTAL_DEMO_CACHE", BASE_DIR / ".cache")
# Long side of its frames: 6000 is a 24-megapixel camera; smaller ones are painted faster and serve for a quick try.
DEMO_SIDE = env.whole("PORTAL_DEMO_SIDE", 6000, least=1200)

# --- queue ---
REDIS_URL = env.text("PORTAL_REDIS", f"redis+socket://{embedded.socket_path(SITE_DIR)}")
CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = False  # the job row is the truth; a task lost or run twice is harmless
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_CONCURRENCY = env.whole("PORTAL_WORKERS", 2, least=1)
CELERY_WORKER_MAX_TASKS_PER_CHILD = 500
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TASK_SOFT_TIME_LIMIT = None
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 3600, "socket_timeout": 10, "socket_connect_timeout": 5}
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(SITE_DIR / "beat-schedule")
CELERY_BEAT_SCHEDULE = {
    "sweep": {"task": "galleries.sweep", "schedule": 10.0},
    "daily": {"task": "galleries.daily", "schedule": 900.0, "options": {"expires": 900, "time_limit": 1800}},
}
CELERY_BEAT_SCHEDULER = "portal.clock:Clock"
# From a polite signal to the worker's end, whatever it is doing; less than those who stop it wait.
WORKER_STOP_SECONDS = env.whole("PORTAL_WORKER_STOP_SECONDS", 20, least=1)
JOB_LEASE_SECONDS = env.whole("PORTAL_JOB_LEASE_SECONDS", 60, least=5)
JOB_ATTEMPTS = 4
# Who shows it is told the numbers of `/metrics`; without one nobody is.
METRICS_TOKEN = env.text("PORTAL_METRICS_TOKEN")
if METRICS_TOKEN and len(METRICS_TOKEN) < 24:
    raise ImproperlyConfigured("PORTAL_METRICS_TOKEN is too short; use 24 characters or more.")
# Work that waits this long while none is done: the workers are silent, and `/health/ready` says so.
WORK_LATE_SECONDS = env.whole("PORTAL_WORK_LATE_SECONDS", 300, least=30)

# --- people ---
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "galleries.steps.people.guessable.NotGuessable"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "studio"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_ENGINE = "galleries.web.session_rows"
SESSION_COOKIE_NAME = cookies.name("session", secure=SECURE)
# As an invite's; whether that holds is asked at every request, and the studio's people have a limit of their own.
INVITE_DAYS = env.whole("PORTAL_INVITE_DAYS", 60, least=1)
SESSION_COOKIE_AGE = 60 * 60 * 24 * INVITE_DAYS
# After so many hours without a request somebody of the studio has to sign in again.
STUDIO_IDLE_HOURS = env.whole("PORTAL_STUDIO_IDLE_HOURS", 12, least=1)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = SECURE
DEVICE_COOKIE_NAME = cookies.name("device", secure=SECURE)
PASS_COOKIE_NAME = cookies.name("pass", secure=SECURE)
CSRF_COOKIE_SECURE = SECURE
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_NAME = cookies.name("form", secure=SECURE)
CSRF_COOKIE_HTTPONLY = True
LANGUAGE_COOKIE_NAME = cookies.name("language", secure=SECURE)
LANGUAGE_COOKIE_SECURE = SECURE
LANGUAGE_COOKIE_HTTPONLY = True
LANGUAGE_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "galleries.web.faults.not_from_here"
# From the letter that says a sitting is removed soon, to its removal by the clock.
REMOVAL_NOTICE_DAYS = env.whole("PORTAL_REMOVAL_NOTICE_DAYS", 14, least=1)
# Tries of a link, a sign-in or a passcode per address and minute, before the door stays shut for a while.
DOOR_TRIES = env.whole("PORTAL_DOOR_TRIES", 20, least=1)
# Whether everybody of the studio has to set a second factor up before anything else opens to them.
SECOND_FACTOR_REQUIRED = env.flag("PORTAL_SECOND_FACTOR_REQUIRED", False)
CACHES = {
    "default": {
        "BACKEND": "portal.cache.OneTry",
        "LOCATION": REDIS_URL.replace("redis+socket://", "unix://"),
        "KEY_PREFIX": "portal",
        "OPTIONS": {"socket_timeout": 5, "socket_connect_timeout": 5},
    }
}

# --- mail ---
MAIL = env.one_of("PORTAL_MAIL", "folder", ("console", "folder", "smtp"))
EMAIL_BACKEND = {
    "console": "django.core.mail.backends.console.EmailBackend",
    "folder": "django.core.mail.backends.filebased.EmailBackend",
    "smtp": "django.core.mail.backends.smtp.EmailBackend",
}[MAIL]
EMAIL_FILE_PATH = str(SITE_DIR / "mail")
EMAIL_HOST = env.text("PORTAL_SMTP_HOST", "localhost")
EMAIL_PORT = env.whole("PORTAL_SMTP_PORT", 25, least=1)
EMAIL_HOST_USER = env.text("PORTAL_SMTP_USER")
EMAIL_HOST_PASSWORD = env.text("PORTAL_SMTP_PASSWORD")
EMAIL_USE_TLS = env.flag("PORTAL_SMTP_TLS", False)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.text("PORTAL_MAIL_FROM", "studio@portal.example")

# --- language and time ---
LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("de", _("German")), ("es", _("Spanish"))]
USE_I18N = True
FORMAT_MODULE_PATH = "portal.formats"
TIME_ZONE = env.text("PORTAL_TIME_ZONE", "Europe/London")
USE_TZ = True

# --- what a page may load ---
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_SSL_REDIRECT = False  # the proxy does it
SECURE_HSTS_SECONDS = 31_536_000 if SECURE else 0
# Every host below the site's own then has to speak https too: only for whoever keeps the whole domain.
SECURE_HSTS_INCLUDE_SUBDOMAINS = env.flag("PORTAL_HSTS_SUBDOMAINS", False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if env.flag("PORTAL_BEHIND_PROXY", False) else None
# Only behind our own proxy may a header say where a request came from.
BEHIND_PROXY = env.flag("PORTAL_BEHIND_PROXY", False)

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"()": "portal.logs.Line", "format": "{asctime} {levelname} {name} {message}", "style": "{"}
    },
    "filters": {"without tokens": {"()": "portal.logs.WithoutTokens"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["without tokens"]}},
    "loggers": {},
    "root": {"handlers": ["console"], "level": env.text("PORTAL_LOG_LEVEL", "WARNING")},
}
# Lines go to another machine as well, and of each line of the journal its number, verb and digest.
SYSLOG = env.text("PORTAL_SYSLOG")
if SYSLOG:
    LOGGING["formatters"]["syslog"] = {"()": "portal.syslog.Form", "format": "{levelname} {message}", "style": "{"}
    LOGGING["handlers"]["syslog"] = syslog.handler(SYSLOG)
    LOGGING["root"]["handlers"].append("syslog")
    LOGGING["loggers"]["galleries.journal"] = {"level": "INFO", "handlers": ["syslog"], "propagate": False}
