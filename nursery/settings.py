"""Settings of Takebook. Everything a farm changes is an environment variable named here."""

import datetime
import errno
import os
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF, WASM_UNSAFE_EVAL
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

BASE_DIR = Path(__file__).resolve().parent.parent


def env_flag(name: str, default: bool = False) -> bool:
    """Return a switch from the environment; anything but 0/1 stops the program with the name."""
    value = os.environ.get(name, "1" if default else "0")
    if value not in {"0", "1"}:
        raise ImproperlyConfigured(f"{name} must be 0 or 1, got {value!r}.")
    return value == "1"


def env_data_dir() -> Path:
    """Return the data directory (database file, secret key, collected static files), made if missing."""
    path = Path(os.environ.get("TAKEBOOK_DATA") or BASE_DIR / "data").resolve()
    try:
        (path / "static").mkdir(parents=True, exist_ok=True)
        if not os.access(path, os.W_OK | os.X_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except OSError as error:
        raise ImproperlyConfigured(
            f"The data directory {path} cannot be used ({error.strerror}): choose a folder that you may "
            "write to, with start --data DIR or in TAKEBOOK_DATA."
        ) from error
    return path


def env_time(name: str, default: str) -> datetime.time:
    """Return a time of day from the environment, as 02:30."""
    try:
        return datetime.datetime.strptime(os.environ.get(name) or default, "%H:%M").time()
    except ValueError as error:
        raise ImproperlyConfigured(
            f"{name} must be a time of day, as 02:30, got {os.environ[name]!r}."
        ) from error


def env_port(name: str) -> int | None:
    """Return a port from the environment, None if it is not set."""
    value = os.environ.get(name)
    if not value:
        return None
    if not value.isdecimal() or not 0 < int(value) < 65536:
        raise ImproperlyConfigured(f"{name} must be a port between 1 and 65535, got {value!r}.")
    return int(value)


def secret_key(data_dir: Path) -> str:
    """Return the farm's own secret key, made at the first start and readable by its owner only."""
    path = data_dir / "secret_key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(handle, "w") as file:
        key = get_random_secret_key()
        file.write(key)
    return key


DATA_DIR = env_data_dir()
SECRET_KEY = os.environ.get("TAKEBOOK_SECRET_KEY") or secret_key(DATA_DIR)
DEBUG = env_flag("TAKEBOOK_DEBUG")

# Nightly copies: a second folder beside DATA_DIR/copies, and the time on the farm's clock.
COPIES_DIR = Path(os.environ["TAKEBOOK_COPIES"]).resolve() if os.environ.get("TAKEBOOK_COPIES") else None
COPIES_AT = env_time("TAKEBOOK_COPIES_AT", "02:30")
# Where pg_dump, pg_restore and psql are, if not among the programs of this machine.
POSTGRES_PROGRAMS = os.environ.get("TAKEBOOK_PG_PROGRAMS", "")

# A laptop on a farm network is reached by whatever address the router gave it, so any name is
# answered. No address is built from the Host header: labels carry the farm's setting, and nothing is mailed.
ALLOWED_HOSTS = os.environ.get("TAKEBOOK_HOSTS", "*").split(",")
CSRF_TRUSTED_ORIGINS = [
    origin for origin in os.environ.get("TAKEBOOK_TRUSTED_ORIGINS", "").split(",") if origin
]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",  # its widget templates, for FORM_RENDERER
    "django_htmx",
    "template_partials",
    "csp",
    "nursery",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # Pages shrink to a sixth. Tokens in them are masked, and each answer is padded at random (BREACH).
    "django.middleware.gzip.GZipMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # Every page asks for a login unless its view says @login_not_required.
    "nursery.middleware.LoginMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "nursery.middleware.FarmMiddleware",
    "nursery.middleware.WhoMiddleware",
    "nursery.middleware.MethodMiddleware",
]

ROOT_URLCONF = "nursery.urls"
WSGI_APPLICATION = "nursery.wsgi.application"
AUTH_USER_MODEL = "nursery.Account"
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["template_partials.templatetags.partials"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "nursery.middleware.farm_context",
            ],
        },
    }
]


def database() -> dict[str, object]:
    """Return the database of ``DATABASE_URL``, else SQLite in the data directory."""
    if os.environ.get("DATABASE_URL"):
        return dict(dj_database_url.config("DATABASE_URL", conn_max_age=60, conn_health_checks=True))
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": DATA_DIR / "takebook.sqlite3",
        "CONN_MAX_AGE": None,
        "OPTIONS": {
            # IMMEDIATE: a writer waits at BEGIN instead of failing at its first write. FULL: a mark that
            # was acknowledged is on the disk, whatever happens to the power.
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA cache_size=-16000;",
        },
    }


DATABASES = {"default": database()}

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 8},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

LANGUAGE_CODE = "en"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"  # stored; pages use the farm's zone (FarmMiddleware)
FORMAT_MODULE_PATH = ["nursery.formats"]

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "nursery.staticstorage.HashedStaticStorage"},
}

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        # WebAssembly for the reader of labels (static/js/camera/zxing.js); eval of scripts stays forbidden.
        "script-src": [SELF, WASM_UNSAFE_EVAL],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}

SESSION_COOKIE_AGE = 60 * 60 * 24 * 60  # a shared tablet stays logged in over a season's quiet weeks
SESSION_SAVE_EVERY_REQUEST = False
CSRF_FAILURE_VIEW = "nursery.views.errors.csrf_failure"
DATA_UPLOAD_MAX_MEMORY_SIZE = 8 * 1024 * 1024
# What is larger is dropped as it comes, so that nobody fills the disk: room for 50,000 rows of a past season.
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.MemoryFileUploadHandler"]
FILE_UPLOAD_MAX_MEMORY_SIZE = 6 * 1024 * 1024

HTTPS = env_flag("TAKEBOOK_HTTPS")
# Set by "start --https" itself: the program speaks HTTPS with the farm's own certificate, and this port
# answers over plain HTTP beside it.
PLAIN_PORT = env_port("TAKEBOOK_PLAIN_PORT")
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS or PLAIN_PORT is not None
if PLAIN_PORT is not None:
    # Cookies know no port. Under the names used over plain HTTP, these would keep the farm that goes back to
    # it from logging in; the prefix also keeps whoever sits on the plain port from setting them.
    # No HSTS: it counts for a name on every port, so it would send the printed labels, and a tablet that does
    # not trust the farm yet, to HTTPS on the plain port, where nothing answers.
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-sessionid", "__Host-csrftoken"
SECURE_REFERRER_POLICY = "same-origin"
if HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True

MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "loggers": {"django": {"handlers": ["console"], "level": "WARNING"}},
}
