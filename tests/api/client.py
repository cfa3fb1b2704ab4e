"""A client that sends JSON with a token and reads JSON back, and never lets an answer of 500 pass."""

from __future__ import annotations

from typing import Any

import orjson
from django.test import Client as DjangoClient

ROOT = "/api/v1"


class Client:
    def __init__(self, token: str | None = None) -> None:
        self._http = DjangoClient(raise_request_exception=False)
        self.token = token

    def send(self, method: str, path: str, body: Any = None, *, most: int = 499, **headers: str) -> Any:
        """`If_Match="..."` becomes the header If-Match. `path` is below /api/v1 unless it begins with it."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.token:
            sent["Authorization"] = f"Bearer {self.token}"
        raw = body if isinstance(body, bytes) else b"" if body is None else orjson.dumps(body)
        address = path if path.startswith(ROOT) else f"{ROOT}/{path}" if path else ROOT
        content_type = sent.pop("Content-Type", "application/json")
        response = self._http.generic(method, address, raw, content_type, headers=sent)
        assert response.status_code <= most, (method, path, body, response.content[:2000])
        return response

    def get(self, path: str, **headers: str) -> Any:
        return self.send("GET", path, **headers)

    def post(self, path: str, body: Any, **headers: str) -> Any:
        return self.send("POST", path, body, **headers)

    def patch(self, path: str, body: Any, **headers: str) -> Any:
        return self.send("PATCH", path, body, **headers)

    def delete(self, path: str, **headers: str) -> Any:
        return self.send("DELETE", path, **headers)
