"""The pages behind a real proxy with TLS: Secure cookies, the true client, log-out in every tab."""

from __future__ import annotations

import http.client
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from byrewright.web.access import TRIES, set_password
from tests.web.conftest import Server, free_port

pytestmark = [pytest.mark.browser, pytest.mark.nginx]
PASSWORD = "a long enough password"
DOCS = Path(__file__).resolve().parents[2] / "docs" / "pages.md"


def certificate(folder: Path) -> None:
    """A self-signed certificate for loopback."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(1).not_valid_before(now).not_valid_after(now + timedelta(days=1))
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    (folder / "farm.crt").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    (folder / "farm.key").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )  # fmt: skip


@pytest.fixture(scope="module")
def proxied(tmp_path_factory: pytest.TempPathFactory, examples: Path) -> Iterator[int]:
    """Port of the proxy, set up as the documentation shows it."""
    root = tmp_path_factory.mktemp("proxied")
    folder, nginx = root / "plants", root / "nginx"
    folder.mkdir()
    nginx.mkdir()
    shutil.copy(examples / "rows_two_by_twenty" / "plant.yaml", folder / "plant.yaml")
    set_password(folder, PASSWORD)
    certificate(nginx)
    server, port = Server(folder, "127.0.0.1", "proxy"), free_port()
    text = DOCS.read_text(encoding="utf-8")
    block = text[text.index("    server {") : text.index("`proxy_set_header` must")]
    block = (
        block.replace("listen 443 ssl", f"listen 127.0.0.1:{port} ssl")
        .replace("127.0.0.1:8765", f"127.0.0.1:{server.port}")
        .replace("farm.example", "localhost")
        .replace("/etc/ssl/", f"{nginx}/")
    )
    paths = "\n".join(
        f"{kind}_temp_path {nginx}/{kind};"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    config = nginx / "nginx.conf"
    config.write_text(
        f"daemon off; pid {nginx}/pid; error_log {nginx}/error.log;\n"
        f"events {{}}\nhttp {{ access_log off; {paths}\n{block}\n}}\n"
    )
    server.begin()
    proxy = subprocess.Popen(["nginx", "-c", str(config), "-p", str(nginx)],
                             stderr=subprocess.DEVNULL)  # fmt: skip
    try:
        end = time.monotonic() + 10
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                assert time.monotonic() < end and proxy.poll() is None, "nginx did not start"
                time.sleep(0.05)
        yield port
    finally:
        proxy.terminate()
        proxy.wait(10)
        server.end()


def try_password(port: int, password: str, source: str, **headers: str) -> int:
    """The answer to one try at the log-in, from an address of this computer."""
    plain = ssl._create_unverified_context()
    line = http.client.HTTPSConnection(
        "localhost", port, context=plain, timeout=20, source_address=(source, 0)
    )
    form = urlencode({"password": password})
    line.request("POST", "/log-in", form, {"content-type": "application/x-www-form-urlencoded",
                 "origin": f"https://localhost:{port}", **headers})  # fmt: skip
    status = line.getresponse().status
    line.close()
    return status


def test_cookies_are_secure_and_log_out_ends_every_tab(browser: Any, proxied: int) -> None:
    """Would fail if a cookie could travel unencrypted, or a tab stayed open after log-out."""
    context = browser.new_context(ignore_https_errors=True)
    one, two = context.new_page(), context.new_page()
    url = f"https://localhost:{proxied}"
    one.goto(url)
    one.get_by_label("Password").fill(PASSWORD)
    one.get_by_role("button", name="Log in").click()
    one.get_by_role("link", name="plant.yaml").wait_for()
    (session,) = [c for c in context.cookies() if c["name"] == "byrewright_session"]
    assert session["secure"] and session["httpOnly"]
    two.goto(f"{url}/p/plant/plant")
    two.locator("#plant-drawing svg").wait_for(timeout=60_000)  # its web socket works too
    two.get_by_label("Mode").select_option("wash")
    two.get_by_role("heading", name="Where fluids go: wash").wait_for(timeout=60_000)
    one.get_by_role("button", name="Log out").click()
    one.get_by_label("Password").wait_for()
    two.get_by_label("Password").wait_for(timeout=10_000)
    context.close()


def test_lock_out_counts_the_true_client(proxied: int) -> None:
    """Would fail if one stranger could lock everybody out, or escape by naming another address."""
    for number in range(TRIES):  # after these, this computer's own address is locked out
        forged = {"X-Forwarded-For": f"10.0.0.{number}"}
        assert try_password(proxied, "wrong", "127.0.0.1", **forged) == 401
    assert try_password(proxied, PASSWORD, "127.0.0.1", **{"X-Forwarded-For": "10.9.9.9"}) == 429
    assert try_password(proxied, PASSWORD, "127.0.0.2") == 303
