"""Screens that look over the season: plan and tank sheet, review, compare."""

from __future__ import annotations

from starlette.routing import Route

ROUTES: list[Route] = []
