"""Requests to the program within this process: the whole stack of a worker, without a network between."""

import io
import json
from dataclasses import dataclass, field
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.test import Client, override_settings

from nursery.models import Account, Farm

FLOORS = "nursery.management.bench.floor_urls"


@dataclass(slots=True)
class Asker:
    """A grower who is logged in and asks for pages."""

    cookies: dict[str, str]
    handler: WSGIHandler = field(default_factory=WSGIHandler)

    @classmethod
    def logged_in(cls) -> "Asker":
        Farm.objects.get_or_create(pk=1, defaults={"name": "Benchmark"})
        account, is_new = Account.objects.get_or_create(username="bench", defaults={"role": "grower"})
        if is_new:
            account.set_unusable_password()
            account.save()
        client = Client()
        client.force_login(account)
        return cls({"sessionid": client.cookies["sessionid"].value, "csrftoken": "b" * 32})

    def ask(self, path: str, sent: Any = None) -> bytes:
        """Return the body of a page, or of the answer to a batch; AssertionError for any other status."""
        path, _mark, query = path.partition("?")
        body = b"" if sent is None else json.dumps(sent).encode()
        said: list[str] = []
        environ = {
            "REQUEST_METHOD": "GET" if sent is None else "POST",
            "PATH_INFO": path, "QUERY_STRING": query, "SCRIPT_NAME": "",
            "SERVER_NAME": "127.0.0.1", "SERVER_PORT": "80", "SERVER_PROTOCOL": "HTTP/1.1",
            "wsgi.url_scheme": "http", "wsgi.input": io.BytesIO(body),
            "CONTENT_TYPE": "application/json", "CONTENT_LENGTH": str(len(body)),
            "HTTP_COOKIE": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
            "HTTP_X_CSRFTOKEN": self.cookies["csrftoken"], "HTTP_HOST": "127.0.0.1",
        }  # fmt: skip
        answer = self.handler(environ, lambda status, headers: said.append(status))
        content = b"".join(answer)
        answer.close()
        assert said[0].startswith("200"), (path, said[0], content[:300])
        return content


def with_floors() -> Any:
    """Let the floors' addresses be answered beside the program's own."""
    return override_settings(ROOT_URLCONF=FLOORS)
