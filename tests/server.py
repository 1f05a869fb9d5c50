"""A PostgreSQL server for tests: databases made once, and brought back between tests to what they held at first.

Making a database costs tens of milliseconds, bringing one back about five. What a database held at first is kept
beside its tables in a schema of its own, which an archive does not look at.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
from sqlalchemy import make_url

_KEEP = """
CREATE SCHEMA kept;
DO $$
DECLARE held text;
BEGIN
    FOR held IN SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' LOOP
        EXECUTE format('CREATE TABLE kept.%1$I AS TABLE public.%1$I', held);
    END LOOP;
END $$;
CREATE TABLE kept."last ids" AS SELECT sequencename, last_value FROM pg_sequences WHERE schemaname = 'public';
"""
# no trigger fires meanwhile, so that the tables need no order; a server's owner may ask for that
_BRING_BACK = """
DO $$
DECLARE held text; counter record;
BEGIN
    SET LOCAL session_replication_role = replica;
    FOR held IN SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' LOOP
        EXECUTE format('DELETE FROM public.%I', held);
        EXECUTE format('INSERT INTO public.%1$I SELECT * FROM kept.%1$I', held);
    END LOOP;
    FOR counter IN SELECT * FROM kept."last ids" LOOP
        PERFORM setval(format('public.%I', counter.sequencename)::regclass,
            coalesce(counter.last_value, 1), counter.last_value IS NOT NULL);
    END LOOP;
END $$
"""
_SEND_AWAY = """
SELECT pg_terminate_backend(pid) FROM pg_stat_activity
WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'
"""


class Server:
    """A PostgreSQL server where tests make databases of their own."""

    def __init__(self, url: str) -> None:
        self._url = make_url(url)
        self._worker = os.environ.get("PYTEST_XDIST_WORKER", "gw")
        self._count = 0
        self._connection = self.connect(self._url.database or "postgres")

    def url(self, name: str) -> str:
        """Return the address of a database there."""
        return self._url.set(database=name).render_as_string()

    def connect(self, name: str) -> psycopg.Connection:
        """Return a connection of one's own to a database, each statement by itself."""
        told = self._url.set(drivername="postgresql", database=name).render_as_string(hide_password=False)
        return psycopg.connect(told, autocommit=True)

    def do(self, words: str) -> None:
        """Run one statement."""
        self._connection.execute(words.encode())

    def make(self, name: str, template: str = "template0") -> None:
        """Make a database like another one."""
        self.do(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')

    def drop(self, name: str) -> None:
        """Take a database away, whoever is in it."""
        self.do(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def new_name(self) -> str:
        """Return a name that no other worker or run uses."""
        self._count += 1
        return f"test_{os.getpid()}_{self._worker}_{self._count}"

    @contextmanager
    def database(self, template: str = "template0") -> Iterator[str]:
        """Give the name of a new database, made like another one; it is dropped afterwards."""
        name = self.new_name()
        self.make(name, template)
        try:
            yield name
        finally:
            self.drop(name)

    def close(self) -> None:
        """Let go of the server."""
        self._connection.close()


class Databases:
    """Databases like one template, as many as one test needs at a time."""

    def __init__(self, server: Server, template: str) -> None:
        self._server = server
        self._template = template
        self._made: list[tuple[str, psycopg.Connection]] = []
        self._given = self._kept = 0

    def give(self) -> str:
        """Return the name of a database that holds what the template holds."""
        if self._given == len(self._made):
            name = self._server.new_name()
            self._server.make(name, self._template)
            connection = self._server.connect(name)
            connection.execute(_KEEP)
            self._made.append((name, connection))
        name, connection = self._made[self._given]
        connection.execute(_SEND_AWAY)
        connection.execute(_BRING_BACK)
        self._given += 1
        return name

    def keep_given(self) -> None:
        """Leave what was given so far where it is until the end of the run."""
        self._kept = self._given

    def take_back(self) -> None:
        """Have all that were given to a test for the next one."""
        self._given = self._kept

    def close(self) -> None:
        """Drop them all."""
        for name, connection in self._made:
            connection.close()
            self._server.drop(name)
