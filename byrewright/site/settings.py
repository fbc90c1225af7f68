"""Settings of the watch (`watch.yaml` beside the plant): encrypted sessions, notices.

All of it is off unless it is written. Passwords stand in files of their own, named here.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from byrewright.errors import ByrewrightError
from byrewright.plant.problems import FileProblems
from byrewright.plant.record import Record, par
from byrewright.plant.source import load, read_text
from byrewright.plant.translate import validate
from byrewright.site.opcua import Security

FILE = "watch.yaml"


class SettingsError(FileProblems):
    """The settings of the watch cannot be used; one problem for each thing wrong."""


class OpcuaSettings(Record):
    """An encrypted OPC UA session."""

    security: Literal["none", "Basic256Sha256", "Aes256Sha256RsaPss"] = par(
        "", "security policy; signed and encrypted unless none", "Basic256Sha256",
        why="the least that is still held to be secure", confidence="from_memory",
    )  # fmt: skip
    certificate: str | None = par("", "file of our certificate, DER or PEM", None)
    key: str | None = par("", "file of our private key, PEM", None)
    server_certificate: str | None = par("", "file of the controller's certificate", None)
    user: str | None = par("", "user name", None)
    password_file: str | None = par("", "file that holds the password and nothing else", None)


class EmailSettings(Record):
    """Notices by e-mail."""

    server: str = par("", "mail server that takes our mail")
    port: int = par("", "its port", 587, ge=1, le=65535, why="submission of mail")
    security: Literal["starttls", "tls", "none"] = par(
        "", "how the connection is encrypted", "starttls", why="usual on port 587"
    )
    user: str | None = par("", "user name at the mail server", None)
    password_file: str | None = par("", "file that holds the password and nothing else", None)
    sender: str = par("", "address that the notice comes from")
    to: tuple[str, ...] = par("", "addresses of the people on call")


class WebhookSettings(Record):
    """Notices as a request to a web address: JSON by POST."""

    url: str = par("", "address, https:// or http://")


class NoticeSettings(Record):
    """Notices out of the building, when an alarm is raised."""

    email: EmailSettings | None = par("", "by e-mail", None)
    webhook: WebhookSettings | None = par("", "to a web address", None)
    page: str | None = par("", "address of the pages, put into the notice as a link", None)


class LogSettings(Record):
    """A site log in a database of a server, instead of a file beside the plant."""

    database: str = par("", "its address, postgresql://user@host/database")
    password_file: str | None = par("", "file that holds the password and nothing else", None)


class Settings(Record):
    """Everything that can be set."""

    opcua: OpcuaSettings | None = par("", "encrypted OPC UA session", None)
    notices: NoticeSettings | None = par("", "notices out of the building", None)
    log: LogSettings | None = par("", "where the log of the real plant lies", None)


def settings_beside(plant_path: Path) -> Settings:
    """The settings that lie beside a plant file; all off where there are none.

    Raises:
        SettingsError: the file is there and wrong.
    """
    path = plant_path.parent / FILE
    if not path.exists():
        return Settings()
    source = load(read_text(path, SettingsError), str(path), SettingsError, "notices: {}")
    made = validate(Settings, source.data, source, ())
    hook = made.notices.webhook if made and made.notices else None
    if hook and (
        urlsplit(hook.url).scheme not in ("http", "https") or not urlsplit(hook.url).netloc
    ):
        source.add("F024", ("notices", "webhook", "url"), found=hook.url,
                   allowed="an address that begins with https:// or http://")  # fmt: skip
    source.stop(SettingsError)
    assert made is not None
    return made


def secret(plant_path: Path, name: str | None) -> str:
    """A password out of its file, named from the plant's folder.

    Raises:
        ByrewrightError: the file cannot be read.
    """
    if name is None:
        return ""
    path = plant_path.parent / name
    try:
        return path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        raise ByrewrightError(f"{path}: cannot be read; {FILE} names it as a password") from None


def security_of(plant_path: Path, settings: Settings) -> Security | None:
    """How OPC UA sessions are secured; None where nothing is set.

    Raises:
        ByrewrightError: a file that is named is not there, or half of what is needed is named.
    """
    one = settings.opcua
    if one is None:
        return None
    folder = plant_path.parent

    def there(name: str | None) -> Path | None:
        if name is not None and not (folder / name).is_file():
            raise ByrewrightError(f"{folder / name}: no such file; {FILE} names it")
        return folder / name if name else None

    certificate, key = there(one.certificate), there(one.key)
    if one.security != "none" and (certificate is None or key is None):
        raise ByrewrightError(
            f"{folder / FILE}: opcua: an encrypted session needs certificate and key; "
            "write both, or security: none"
        )
    encrypted = one.security != "none"
    return Security(
        one.security, certificate if encrypted else None, key if encrypted else None,
        there(one.server_certificate), one.user or "", secret(plant_path, one.password_file),
    )  # fmt: skip
