"""Settings. What differs between machines comes from the environment; DEVELOPERS.md lists the names.

A shop that runs on its own machine needs none of them. `GRITLEDGER_TLS=1` means that it is served to others
through a secure address: then the key and the hosts must be given and cookies travel only over TLS.
"""

import os
import secrets
import tempfile
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import dj_database_url
from csp.constants import NONCE, NONE, SELF
from django.core.exceptions import ImproperlyConfigured

BASE_DIR = Path(__file__).resolve().parent.parent


def env_text(name: str, default: str = "") -> str:
    """Return a setting as text, blanks cut off."""
    return os.environ.get(name, default).strip()


def env_flag(name: str, default: bool = False) -> bool:
    """Return a setting that is on (1) or off (0). Raises ImproperlyConfigured for anything else."""
    text = env_text(name).lower()
    if text in ("1", "true", "yes", "on"):
        return True
    if text in ("0", "false", "no", "off"):
        return False
    if text:
        raise ImproperlyConfigured(f"{name} is {text!r}; it can be 1 (on) or 0 (off).")
    return default


def env_list(name: str, default: list[str]) -> list[str]:
    """Return a setting that is a list with commas between."""
    return [part.strip() for part in env_text(name).split(",") if part.strip()] or default


def env_time_zone(name: str, default: str) -> str:
    """Return a time zone's name. Raises ImproperlyConfigured if there is none of that name."""
    zone = env_text(name) or default
    try:
        ZoneInfo(zone)
    except (OSError, ValueError) as problem:
        raise ImproperlyConfigured(f"{name} is {zone!r}; it must be a name such as America/Chicago.") from problem
    return zone


def env_origins(name: str) -> list[str]:
    """Return addresses with their scheme. Raises ImproperlyConfigured for one without."""
    origins = env_list(name, [])
    for origin in origins:
        if not (urlsplit(origin).scheme and urlsplit(origin).netloc):
            raise ImproperlyConfigured(f"{name} holds {origin!r}; write it as https://shop.example.")
    return origins


def local_secret_key(folder: Path) -> str:
    """Return this machine's own key, made at the first start; two first starts at once agree on one."""
    path = folder / "secret_key"
    if not path.exists():
        handle, draft = tempfile.mkstemp(dir=folder, prefix=".secret_key")  # readable by its owner only
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(64))
        try:
            os.link(draft, path)
        except FileExistsError:
            pass  # the other start was first: its key holds
        finally:
            os.unlink(draft)
    return path.read_text(encoding="ascii").strip()


# What a running shop writes (database, key, collected static files) lies in one folder, outside of git.
DATA_DIR = Path(env_text("GRITLEDGER_DATA") or BASE_DIR / ".local")
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)

DEBUG = env_flag("GRITLEDGER_DEBUG")
TLS = env_flag("GRITLEDGER_TLS")
BEHIND_PROXY = env_flag("GRITLEDGER_BEHIND_PROXY")

SECRET_KEY = env_text("GRITLEDGER_SECRET_KEY")
if TLS and not SECRET_KEY:
    raise ImproperlyConfigured("GRITLEDGER_TLS is on, so GRITLEDGER_SECRET_KEY must be given (50 characters or more).")
if not SECRET_KEY:
    SECRET_KEY = local_secret_key(DATA_DIR)

ALLOWED_HOSTS = env_list("GRITLEDGER_ALLOWED_HOSTS", [] if TLS else ["localhost", "127.0.0.1", "[::1]"])
if TLS and not ALLOWED_HOSTS:
    raise ImproperlyConfigured("GRITLEDGER_TLS is on, so GRITLEDGER_ALLOWED_HOSTS must name the hosts served.")
CSRF_TRUSTED_ORIGINS = env_origins("GRITLEDGER_CSRF_TRUSTED_ORIGINS")
CSRF_FAILURE_VIEW = "inventory.views.stale_form.stale_form"

INSTALLED_APPS = [
    "inventory",  # before Django's own apps: its `test` command and its templates win
    "jobs",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_tables2",
    "django_filters",
    "django_htmx",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "inventory.middleware.Sessions",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "inventory.middleware.NoNul",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "inventory.middleware.PersonHere",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "inventory.views.doors.DeviceCookie",
    "inventory.views.doors.IdleSession",
    "inventory.middleware.BusyBook",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "inventory.context.page",
            ],
        },
    },
]

# Tables look like ours.
DJANGO_TABLES2_TEMPLATE = "parts/tables2.html"

# Database: SQLite in one file unless DATABASE_URL names a PostgreSQL.
DATABASES: dict[str, Any] = {
    "default": dj_database_url.parse(
        env_text("DATABASE_URL") or f"sqlite:///{DATA_DIR / 'gritledger.sqlite3'}",
        conn_max_age=60,
        conn_health_checks=True,
    )
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        # The IMMEDIATE transaction is the lock (select_for_update does nothing here): no ATOMIC_REQUESTS.
        "transaction_mode": "IMMEDIATE",
        # A write waits so long for another one, then it is answered 503 and the page tries again; were it longer, a few
        # waiting scanners would take every thread and nobody could read either.
        "timeout": 5,
        # FULL: a power cut takes no acknowledged entry. recursive_triggers: INSERT OR REPLACE meets the triggers too.
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA recursive_triggers=ON;",
    }
    # Tests use a file as well: a database in memory is one connection shared by all threads, no shop has that.
    DATABASES["default"]["TEST"] = {"NAME": str(Path(tempfile.gettempdir()) / f"gritledger-{os.getpid()}.sqlite3")}

# People and sign-in
AUTH_USER_MODEL = "inventory.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "inventory.sign_in.PasswordBackend",
    "inventory.sign_in.PinBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "inventory:sign_in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "inventory:sign_in"
AXES_FAILURE_LIMIT = 5
AXES_USERNAME_FORM_FIELD = "username"  # what sign-in page and backends call the sign-in name
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_COOLOFF_TIME = "inventory.sign_in.wait_after_tries"
AXES_USE_ATTEMPT_EXPIRATION = True  # a PIN try, with its short wait, sweeps no tries by password away
AXES_LOCKOUT_CALLABLE = "inventory.sign_in.waiting_page"
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_SENSITIVE_PARAMETERS = ["pin", "password", "code"]
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False

# Safety of pages
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = TLS
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if TLS else 0
# Sub-domains and the browsers' preload list are for the owner of the domain to decide, not for one program on it.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
if BEHIND_PROXY:  # only then: without a proxy that sets it, anyone could send this header
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

# Languages, time, units
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español")]
LOCALE_PATHS = [BASE_DIR / "config" / "locale"]
FORMAT_MODULE_PATH = ["config.formats"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = env_time_zone("GRITLEDGER_TIME_ZONE", "America/Chicago")

# Static files: straight from the apps on one's own machine, collected, hashed and compressed behind TLS.
STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = not TLS
WHITENOISE_AUTOREFRESH = DEBUG
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if TLS
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

# Log: what broke, with its traceback. A refused or unknown address is an answer, not news.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "line"},
        "nowhere": {"class": "logging.NullHandler"},
    },
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "django": {"handlers": ["console"], "level": "WARNING", "propagate": False},
        "django.request": {"level": "ERROR"},
        "django.server": {"handlers": ["console"], "level": "ERROR", "propagate": False},
        "django.security.DisallowedHost": {"handlers": ["nowhere"], "propagate": False},
        "axes": {"level": "ERROR"},
    },
}
