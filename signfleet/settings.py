"""Settings, all read from the environment through ``signfleet.env``."""

from pathlib import Path

from signfleet.env import database_from_env, env_bool, env_int, env_list, env_str

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env_str("SIGNFLEET_VAR_DIR", str(BASE_DIR / "var")))

DEBUG = env_bool("DEBUG", False)
IS_DEMO = env_bool("SIGNFLEET_DEMO", False)
SECRET_KEY = env_str("SECRET_KEY", "")
if not SECRET_KEY:
    # A key per installation, made once and kept beside the database.
    from signfleet.secret import read_or_make_secret_key

    SECRET_KEY = read_or_make_secret_key(VAR_DIR / "secret_key")

ALLOWED_HOSTS = env_list("ALLOWED_HOSTS", ["localhost", "127.0.0.1", "[::1]"])
CSRF_FAILURE_VIEW = "inventory.web.errors.form_expired"
CSRF_TRUSTED_ORIGINS = env_list("CSRF_TRUSTED_ORIGINS", [])
SITE_ADDRESS = env_str("SITE_ADDRESS", "http://127.0.0.1:8000")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "leaflet",
    "inventory",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "inventory.web.membership.ActiveMembershipMiddleware",
    "inventory.web.errors.ErrorPageMiddleware",
    "inventory.web.content_policy.ContentPolicyMiddleware",
]

ROOT_URLCONF = "signfleet.urls"
WSGI_APPLICATION = "signfleet.wsgi.application"
ASGI_APPLICATION = "signfleet.asgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "inventory.web.context.site",
            ],
        },
    },
]

DATABASES = {"default": database_from_env(VAR_DIR / "signfleet.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "inventory.User"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
if DEBUG:
    STORAGES["staticfiles"] = {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
    }
MEDIA_ROOT = VAR_DIR / "media"
MEDIA_URL = "media/"
DATA_UPLOAD_MAX_MEMORY_SIZE = env_int("DATA_UPLOAD_MAX_BYTES", 10_000_000, minimum=100_000)

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["inventory.api.permissions.HasActiveMembership"],
    "DEFAULT_PAGINATION_CLASS": "inventory.api.pagination.ListPagination",
    "PAGE_SIZE": 50,
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "inventory.api.errors.handle",
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
}
SPECTACULAR_SETTINGS = {
    "TITLE": "signfleet API",
    "DESCRIPTION": "Signs, inspections, verdicts and orders of one organisation.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["inventory.api.permissions.HasActiveMembership"],
    "ENUM_NAME_OVERRIDES": {
        "SignStateEnum": "inventory.models.Sign.State",
        "OrderStateEnum": "inventory.models.PrintOrder.State",
        "ProgrammeStateEnum": "inventory.models.Programme.State",
        "ObservationKindEnum": "inventory.models.Observation.Kind",
        "ElementKindEnum": "inventory.models.ElementAssessment.Kind",
        "DatePrecisionEnum": "inventory.models.signs.DatePrecision",
        "VerdictEnum": "inventory.models.assessment.VERDICT_CHOICES",
    },
}

# No map tiles are asked of anybody unless the site sets an address: the roads the agency
# knows are drawn from its own records.
MAP_TILE_ADDRESS = env_str("MAP_TILE_ADDRESS", "")
MAP_TILE_CREDIT = env_str("MAP_TILE_CREDIT", "")
LEAFLET_CONFIG = {
    "TILES": [("Map", MAP_TILE_ADDRESS, {"attribution": MAP_TILE_CREDIT, "maxZoom": 19})]
    if MAP_TILE_ADDRESS
    else [],
    "RESET_VIEW": False,
    "SCALE": "both",
    "ATTRIBUTION_PREFIX": "",
    "NO_GLOBALS": False,
}

SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
BEHIND_TLS = env_bool("BEHIND_TLS", not DEBUG and not IS_DEMO)
SESSION_COOKIE_SECURE = BEHIND_TLS
CSRF_COOKIE_SECURE = BEHIND_TLS
SECURE_SSL_REDIRECT = BEHIND_TLS
SECURE_HSTS_SECONDS = env_int("HSTS_SECONDS", 31_536_000 if BEHIND_TLS else 0, minimum=0)
SECURE_HSTS_INCLUDE_SUBDOMAINS = BEHIND_TLS
SECURE_HSTS_PRELOAD = BEHIND_TLS
if BEHIND_TLS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
