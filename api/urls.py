"""Routes of /api/v1."""

from django.urls import path

urlpatterns: list[path] = []
