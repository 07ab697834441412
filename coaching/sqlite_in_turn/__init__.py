"""Django's SQLite backend, but whoever writes waits for a turn."""
