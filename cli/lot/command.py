"""`seamtrue lot`: a page on this machine for the day in the lot."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
from typing import TYPE_CHECKING, Annotated

import typer

from cli.options import Debug, Fraction, JobFile
from cli.printing import say
from cli.trouble import reported
from vision.units.errors import bad_input

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from cli.lot.app import Page

PORT = 8490
NOWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737). Nothing is sent; the system says from where it would."""


def lot(
    job_file: JobFile,
    phone: Annotated[
        bool,
        typer.Option(
            "--phone",
            help="Also for a phone in this network, by a code on the terminal. There is no "
            "encryption: use the phone's own hotspot.",
        ),
    ] = False,
    port: Annotated[int, typer.Option(help="Port; 0 takes any that is free.")] = PORT,
    address: Annotated[
        str | None,
        typer.Option(help="With --phone: this machine's address in that network, if several."),
    ] = None,
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Serve a page on this machine: drop in snapshots, read what is left to turn, camera by camera.

    Pictures are kept in the folder seamtrue-lot beside the job. Ctrl-C ends it. Exit code: 0, 5 bad
    input.
    """
    with reported(debug):
        from cli.lot.app import Page
        from cli.lot.day import Day
        from cli.lot.guard import Door
        from vision.files.day_folder import DayFolder
        from vision.files.disk import folder_ready, read_job
        from vision.inspection.running import Running

        read_job(job_file)
        folder = DayFolder.today(job_file)
        folder_ready(folder.path)
        folder.tidy()
        listening = _listening(_here(address) if phone else "127.0.0.1", port)
        day = Day(job_file=job_file, folder=folder, running=Running(), fraction=fraction)
        page = Page(day=day)
        hosts = _hosts(listening)
        if phone:
            page.door = Door(renewed=lambda token: _show_code(hosts[0], token))
            say("no encryption: use this in a network of your own, such as a phone's hotspot")
            _show_code(hosts[0], page.door.token)
        else:
            say(f"open http://{hosts[0]}/ on this machine; Ctrl-C ends it")
        _served(page, listening, hosts)


def _served(page: Page, listening: socket.socket, hosts: tuple[str, ...]) -> None:
    import uvicorn

    from cli.lot.guard import Guard

    app: ASGIApp = Guard(app=page.app(), hosts=frozenset(hosts), door=page.door)  # type: ignore[arg-type]
    config = uvicorn.Config(
        app,
        access_log=False,
        # A bug is said in one line by the page itself, and whoever is impatient gets no traceback.
        log_level="critical",
        server_header=False,
        date_header=False,
        limit_concurrency=64,
        timeout_keep_alive=10,
        timeout_graceful_shutdown=1,
        lifespan="on",
        ws="none",
    )
    # Ctrl-C is how a day ends: the server closes, and then hands it on.
    with contextlib.suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[listening])
    say(f"ended; the pictures are in {page.day.folder.path}")


def _listening(host: str, port: int) -> socket.socket:
    """A socket that listens at this address alone."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    if os.name == "posix":
        # Elsewhere this would let two programs share the port.
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except (OSError, OverflowError) as error:
        listening.close()
        found = f"{host}, port {port}: {getattr(error, 'strerror', None) or error}"
        step = "choose another with --port, or 0 for any; see --address with --phone"
        raise bad_input(
            "address-taken", "the command", found, "an address that is free", step
        ) from None
    return listening


def _hosts(listening: socket.socket) -> tuple[str, ...]:
    """What a browser may call this machine, the name that is shown first."""
    host, port = listening.getsockname()[:2]
    shown = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    return (shown, f"localhost:{port}") if host == "127.0.0.1" else (shown,)


def _here(address: str | None) -> str:
    """Give this machine's address in the local network; BadInputError for one that is none."""
    if address is not None:
        try:
            return str(ipaddress.ip_address(address))
        except ValueError:
            raise bad_input(
                "not-an-address",
                "the command",
                repr(address),
                "an address such as 192.168.43.7",
                "correct --address",
            ) from None
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(NOWHERE)
            found = str(asking.getsockname()[0])
        except OSError:
            found = "0.0.0.0"
    if found == "0.0.0.0":
        raise bad_input(
            "no-network",
            "the command",
            "no network",
            "a network that the phone is in",
            "join its hotspot first",
        )
    return found


def _show_code(host: str, token: str) -> None:
    """Show the address for one phone, as a code to be read by its camera and as text."""
    import segno

    from cli.lot.guard import JOIN

    where = f"http://{host}{JOIN}{token}"
    segno.make(where, micro=False).terminal(compact=True)
    say(f"one phone or browser, once: {where}")
