"""What the database knows of its own rows, on which it plans its queries."""

from django.apps import apps
from django.db import connection


def refresh_statistics() -> None:
    """
    Let the database count its rows again after many were loaded.

    PostgreSQL does so by itself, but only some time later; until then it may plan a query over
    the new rows so that it takes minutes. SQLite plans by the indexes alone.
    """
    if connection.vendor != "postgresql":
        return
    tables = ", ".join(
        connection.ops.quote_name(model._meta.db_table)
        for model in apps.get_app_config("inventory").get_models()
    )
    with connection.cursor() as cursor:
        cursor.execute(f"ANALYZE {tables}")
