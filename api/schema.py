"""How the OpenAPI document describes a route."""

from drf_spectacular.openapi import AutoSchema


class RouteSchema(AutoSchema):
    """Every operation declares the problem documents it may answer with."""
