"""Answers in words, tables, charts, pages and calendars."""
