"""A page served in a thread of a test, and requests as a browser sends them."""

from __future__ import annotations

import http.client
import json
import re
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn

from cli.lot.app import Page
from cli.lot.command import _hosts, _listening
from cli.lot.day import Day
from cli.lot.guard import Door, Guard
from vision.files.day_folder import DayFolder


@dataclass(frozen=True, kw_only=True)
class Served:
    """A served page with its first host."""

    page: Page
    host: str

    @property
    def url(self) -> str:
        return f"http://{self.host}/"

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, bytes]:
        """Status and body of an answer."""
        connection = http.client.HTTPConnection(self.host, timeout=60)
        try:
            names = {name.replace("_", "-"): value for name, value in headers.items()}
            connection.request(method, path, body or None, names)
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

    def send(
        self, path: str, *files: tuple[str, bytes], accept: str = "application/json", **fields: str
    ) -> tuple[int, bytes]:
        """Send a form of the page; `token` among the fields stands for the page's own."""
        fields = {"token": self.page.token} | fields
        kind, body = form(fields, files)
        return self.ask("POST", path, body, content_type=kind, accept=accept)

    @property
    def said(self) -> list[str]:
        """The lines at the head of the page, the newest first."""
        return [each.text for each in self.page.day.shown.said]

    def parts(self) -> dict[str, str]:
        """The parts of the page."""
        parts: dict[str, str] = json.loads(self.ask("GET", "/parts")[1])["parts"]
        return parts

    def settled(self, test: Any, seconds: float = 60.0) -> None:
        """Wait until something holds of what is shown and nothing more is looked at."""
        rest = threading.Event()
        for _ in range(int(20 * seconds)):
            shown = self.page.day.shown
            if not shown.to_come and test(shown):
                return
            rest.wait(0.05)
        raise TimeoutError(f"not settled: {shown.phase!r}, {self.said}")


def form(fields: dict[str, str], files: tuple[tuple[str, bytes], ...]) -> tuple[str, bytes]:
    """A form as RFC 7578 has it: its content type and its bytes."""
    edge = secrets.token_hex(16)
    parts = [(f'name="{key}"', value.encode()) for key, value in fields.items()]
    for name, data in files:
        escaped = re.sub(r'["\r\n]', lambda found: f"%{ord(found[0]):02X}", name)
        parts.append((f'name="files"; filename="{escaped}"', data))
    body = b"".join(
        f"--{edge}\r\nContent-Disposition: form-data; {head}\r\n\r\n".encode() + data + b"\r\n"
        for head, data in parts
    )
    return f"multipart/form-data; boundary={edge}", body + f"--{edge}--\r\n".encode()


@contextmanager
def serving(job_file: Path, running: Any, *, door: bool = False) -> Iterator[Served]:
    """Serve a job's page at a free port of this machine."""
    listening = _listening("127.0.0.1", 0)
    hosts = _hosts(listening)
    day = Day(job_file=job_file, folder=DayFolder.today(job_file), running=running)
    page = Page(day=day, door=Door(renewed=lambda token: None) if door else None)
    app = Guard(app=page.app(), hosts=frozenset(hosts), door=page.door)
    config = uvicorn.Config(
        app, access_log=False, log_level="critical", lifespan="on", timeout_graceful_shutdown=1
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    served = Served(page=page, host=hosts[0])
    try:
        for _ in range(600):
            if server.started:
                break
            threading.Event().wait(0.05)
        yield served
    finally:
        server.should_exit = True
        thread.join(20)
        listening.close()
