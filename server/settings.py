"""Settings of the program, each from an environment variable with the prefix SLACKWATER_; what the shop decides is policy, not here."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from ipaddress import ip_network
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, field_validator, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

PREFIX = "SLACKWATER_"
SECRETS = Path("/run/secrets")
"""Where containers are given secrets as files, each named as its variable is."""
SHORTEST_TOKEN = 20

POSTGRESQL = ("postgresql://", "postgresql+psycopg://")


def _is_postgresql(address: str) -> bool:
    """Whether an address names a PostgreSQL database; what it says is told to nobody, since its password may be anywhere in it."""
    try:
        return address.startswith(POSTGRESQL) and (urlsplit(address).port or 1) > 0
    except ValueError:
        return False


def misspelt(variables: Iterable[str]) -> dict[str, str]:
    """Variables with our prefix that no setting has, each with the one that may be meant: in silence a rule would not hold."""
    there = [f"{PREFIX}{name.upper()}" for name in Settings.model_fields]
    strange = sorted(name for name in variables if name.upper().startswith(PREFIX) and name.upper() not in there)
    return {name: next(iter(get_close_matches(name.upper(), there, 1)), "") for name in strange}


class Settings(BaseSettings):
    """Frozen settings, from variables, else from files of secrets; every field is documented in README.md."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, frozen=True, extra="ignore", secrets_dir=SECRETS if SECRETS.is_dir() else None
    )

    host: str = Field("127.0.0.1", description="Address the server listens at.")
    port: int = Field(8000, ge=1, le=65535, description="Port the server listens at.")
    workers: int = Field(
        1, ge=1, le=64, description="Processes that serve; more than one share the port and the database."
    )
    data: Path = Field(Path(".data"), description="Folder of the database and all that the program keeps.")
    database_url: SecretStr = Field(
        SecretStr(""),
        description="Address of a PostgreSQL database (postgresql://…); empty: an SQLite file in the folder.",
    )
    base_address: str = Field(
        "", description="Address that people reach the shop at, for links; empty: http://host:port."
    )
    public_burst: int = Field(
        300, ge=0, description="Requests a minute from one address before it is asked to wait; 0 switches it off."
    )
    forwarded_allow_ips: str = Field(
        "", description="Addresses of proxies whose X-Forwarded headers are believed, separated by commas; empty: none."
    )
    metrics_token: SecretStr = Field(
        SecretStr(""), description="Secret that whoever reads /metrics has to say; empty: there are no metrics."
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field("info", description="How much is logged.")

    second_factor: Literal["offered", "owners", "everyone"] = Field(
        "offered", description="Whose account opens nothing but itself until it has a second factor; offered: nobody's."
    )

    smtp_host: str = Field(
        "", description="Mail server that messages go out by; empty: the desk copies and sends them."
    )
    smtp_port: int = Field(587, ge=1, le=65535, description="Port of the mail server.")
    smtp_user: str = Field("", description="Name to sign in at the mail server with; empty: it asks for none.")
    smtp_password: SecretStr = Field(SecretStr(""), description="Password to sign in at the mail server with.")
    smtp_security: Literal["none", "starttls", "tls"] = Field(
        "starttls",
        description="Encryption of the line: starttls on an open port, tls from the start, none without a password.",
    )
    smtp_sender: str = Field("", description="Address that messages come from; empty: the shop's own of the policy.")

    @field_validator("forwarded_allow_ips")
    @classmethod
    def _names_proxies(cls, told: str) -> str:
        """Addresses and networks alone: a name would match nothing, and with `*` anybody could say who they are."""
        for entry in filter(None, (entry.strip() for entry in told.split(","))):
            try:
                ip_network(entry)
            except ValueError:
                raise ValueError(
                    f"{entry!r} is no address such as 192.0.2.1 and no network such as 10.0.0.0/8"
                ) from None
        return ",".join(entry.strip() for entry in told.split(",") if entry.strip())

    @field_validator("metrics_token")
    @classmethod
    def _is_hard_to_guess(cls, told: SecretStr) -> SecretStr:
        secret = told.get_secret_value()
        if secret and (len(secret) < SHORTEST_TOKEN or not secret.isascii() or not secret.isprintable()):
            raise ValueError(f"a token has {SHORTEST_TOKEN} or more plain letters, digits and signs, or there is none")
        return told

    @field_validator("database_url")
    @classmethod
    def _is_of_postgresql(cls, address: SecretStr) -> SecretStr:
        if not address.get_secret_value() or _is_postgresql(address.get_secret_value()):
            return address
        raise ValueError(
            "this is no address of a PostgreSQL database such as postgresql://user@host/name; in its password / is written "
            "%2F, @ is %40, : is %3A and % is %25"
        )

    @model_validator(mode="after")
    def _says_no_password_in_clear(self) -> Settings:
        if self.smtp_security == "none" and self.smtp_password.get_secret_value():
            raise ValueError("SLACKWATER_SMTP_PASSWORD is not said over an open line: set SLACKWATER_SMTP_SECURITY")
        return self

    @property
    def address(self) -> str:
        """The base address for links, without a slash at its end."""
        return (self.base_address or f"http://{self.host}:{self.port}").rstrip("/")

    def as_variables(self) -> dict[str, str]:
        """The settings as variables, for a process that is to have the same."""
        values = {name: getattr(self, name) for name in type(self).model_fields}
        return {
            f"SLACKWATER_{name.upper()}": value.get_secret_value() if isinstance(value, SecretStr) else str(value)
            for name, value in values.items()
        }
