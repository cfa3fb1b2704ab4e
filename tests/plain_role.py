"""Tests look at the database as a superuser, whom no policy holds; what they test goes down to a plain role for it."""

from __future__ import annotations

import os
from urllib.parse import quote, urlsplit

from django.db import connection

ROLE = "dryrecords_tests"

# The rights that the embedded engines and the migrations give to the role of the application.
LET_IN = f"""
DO $$ BEGIN
    CREATE ROLE {ROLE} NOLOGIN NOSUPERUSER NOBYPASSRLS;
EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL; END $$;
GRANT USAGE ON SCHEMA public TO {ROLE};
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {ROLE};
GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {ROLE};
REVOKE INSERT, UPDATE, DELETE ON journal_change, journal_head FROM {ROLE};
"""


def name_roles() -> None:
    """Once the engines are up: the superuser's address, and the role that every scope changes to."""
    if owner := os.environ.get("DATABASE_OWNER_URL"):
        os.environ["DATABASE_URL"] = urlsplit(owner)._replace(netloc="postgres@").geturl()
    os.environ["DRYRECORDS_SCOPE_ROLE"] = ROLE
    # All tests and benchmarks come from one address, and in a hurry.
    os.environ["DRYRECORDS_TOKEN_REQUESTS_PER_S"] = os.environ["DRYRECORDS_ADDRESS_REQUESTS_PER_S"] = "0"


def let_in() -> None:
    """Once the tables are there."""
    with connection.cursor() as cursor:
        cursor.execute(LET_IN)


def as_plain_role(url: str) -> str:
    """The address for a process that is never more than the plain role."""
    parts = urlsplit(url)
    option = f"options={quote(f'-c role={ROLE}')}"
    return parts._replace(query="&".join(filter(None, [parts.query, option]))).geturl()
