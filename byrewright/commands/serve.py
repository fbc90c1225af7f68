"""Command `serve`: the local pages of a plant file or a folder of plants."""

from __future__ import annotations

from pathlib import Path

from byrewright.commands.common import clear_errors, within

HOST, PORT = "127.0.0.1", 8765


def run(path: Path, host: str = HOST, port: int = PORT, *, set_password: bool = False,
        behind_proxy: bool = False) -> None:  # fmt: skip
    """Serve pages until interrupted, or set the password that other computers need."""
    with clear_errors():
        within("--port", port, 1, 65_535)
        if not path.exists():
            raise FileNotFoundError(2, "no such file", str(path))
        if set_password:
            _ask_password(path)
            return
        from byrewright.web.server import serve

        def ready(url: str) -> None:
            print(f"Pages at {url} (Ctrl+C ends)", flush=True)

        serve(path, host, port, ready, behind_proxy=behind_proxy)


def _ask_password(path: Path) -> None:
    from getpass import getpass

    from byrewright.web import access

    folder = path if path.is_dir() else path.parent
    password = getpass("New password: ")
    if password != getpass("The same again: "):
        raise access.RefusedToStart("The two passwords differ; nothing was changed.")
    print(f"Password set; its hash is in {access.set_password(folder, password)}")
