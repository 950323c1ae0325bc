"""The season log (SQLite) and the review of past applications."""
