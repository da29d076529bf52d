"""Settings, typed and loud: the one module that reads the environment.

A value that cannot be understood stops the start with its key and value quoted.
"""

from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from environs import Env

from practice.secret_files import read_or_make

BASE_DIR = Path(__file__).resolve().parent.parent
env = Env()

DATA_DIR = Path(env.str("DATA_DIR", default=str(BASE_DIR / "var")))
DEBUG = env.bool("DEBUG", default=False)
TESTING = env.bool("TESTING", default=False)
# The secret key and the field keys live in files outside the database and its backups.
SECRET_KEY = read_or_make(DATA_DIR / "secret_key", given=env.str("SECRET_KEY", default=""))
FIELD_KEYS = read_or_make(DATA_DIR / "field_keys", given=env.str("FIELD_KEYS", default="")).split(",")
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
# Set when the server stands behind HTTPS: cookies then never travel in clear.
HTTPS = env.bool("HTTPS", default=False)

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django_tables2",
    "django_htmx",
    "simple_history",
    "axes",
    "csp",
    "lucide",
    "practice.apps.PracticeConfig",
    "stock.apps.StockConfig",
    "kits.apps.KitsConfig",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django_permissions_policy.PermissionsPolicyMiddleware",
    "practice.middleware.NoNul",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "practice.middleware.IdleTimeout",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "practice.middleware.CurrentClinic",
    "simple_history.middleware.HistoryRequestMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "practice.urls"
WSGI_APPLICATION = "practice.wsgi.application"
AUTH_USER_MODEL = "practice.User"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "practice.context.frame",
            ],
            "builtins": ["practice.templatetags.ui"],
        },
    }
]

SQLITE_OPTIONS = {
    # IMMEDIATE takes the write lock at the start, so two writers queue instead of failing half-way.
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    # FULL, not NORMAL: a stock ledger must not lose its last entries in a power cut.
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
}
DATABASE_URL = env.str("DATABASE_URL", default="")
if DATABASE_URL:
    DATABASES = {"default": dj_database_url.parse(DATABASE_URL, conn_max_age=60, conn_health_checks=True)}
    if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
        DATABASES["default"]["OPTIONS"] = SQLITE_OPTIONS
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": DATA_DIR / "practice.sqlite3",
            "OPTIONS": SQLITE_OPTIONS,
        }
    }

# Without Redis everything runs in this process: tasks in the request, the cache in memory.
REDIS_URL = env.str("REDIS_URL", default="")
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
CELERY_TASK_EAGER_PROPAGATES = True
# No result backend: with Redis down, publishing would block for twenty seconds instead of one.
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
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
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"
# Lock by user and address together: one person's typing errors must not lock a colleague out.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = env.int("SIGN_IN_FAILURES", default=5)
AXES_COOLOFF_TIME = env.float("SIGN_IN_COOLOFF_MINUTES", default=15) / 60
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_CALLABLE = "practice.views.sign_in.locked_out"
AXES_HTTP_RESPONSE_CODE = 429
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

IDLE_MINUTES = env.int("IDLE_MINUTES", default=45)
SESSION_COOKIE_AGE = IDLE_MINUTES * 60
SESSION_EXPIRE_AT_BROWSER_CLOSE = True
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SAMESITE = "Lax"
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
PERMISSIONS_POLICY = {"camera": "self", "geolocation": [], "microphone": [], "payment": [], "usb": []}

LANGUAGE_CODE = "en-gb"
TIME_ZONE = env.str("TIME_ZONE", default="Europe/London")
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATIC_ROOT = DATA_DIR / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG or TESTING
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = DEBUG or TESTING

EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = env.str("EMAIL_HOST", default="")
if not EMAIL_HOST:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = str(DATA_DIR / "mail")

DJANGO_TABLES2_TEMPLATE = "tables/table.html"
DATA_UPLOAD_MAX_MEMORY_SIZE = 20 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 4000
SILENCED_SYSTEM_CHECKS = [] if HTTPS else ["security.W004", "security.W008", "security.W012", "security.W016"]

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="WARNING")},
}
