"""What can be set from outside, read once: environment variables that start with TEMPERBOOK_."""

from functools import cached_property
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic_settings import BaseSettings, SettingsConfigDict

_HERE = Path(__file__).parent


def shipped(name: str) -> Path:
    """The folder ``name`` (templates, migrations) as it ships: in the wheel, else beside app/."""
    inside = _HERE / name
    return inside if inside.is_dir() else _HERE.parent / name


class Settings(BaseSettings):
    """One frozen object; every value has a default that works on one PC without a network."""

    model_config = SettingsConfigDict(env_prefix="TEMPERBOOK_", frozen=True, extra="ignore")

    database_url: str = "sqlite:///var/temperbook.sqlite"
    """Where the record is kept: ``sqlite:///path`` or ``postgresql://...``."""
    shop_name: str = "Our shop"
    """Printed at the head of every page and paper."""
    time_zone: str = "UTC"
    """The shop's zone (IANA name). Times are stored in UTC and shown in this zone."""
    demo: bool = False
    """Shows the banner that limits are invented. Set by the demonstration only."""
    upload_limit_mb: int = 128
    """Largest furnace record that is taken, in megabytes (10^6 bytes); larger ones are refused."""
    photograph_limit_mb: int = 20
    """Largest photograph that is taken, in megabytes (10^6 bytes)."""
    upload_folder: Path | None = None
    """Where files wait between upload and keeping; beside the SQLite file where none is set."""
    key_file: Path | None = None
    """Where the key lies that signs heads of the trail; beside the database where none is set."""
    session_hours: float = 12.0
    """A sign-in ends after this long, whatever happens."""
    idle_minutes: float = 30.0
    """A sign-in is locked after this long without a page; its person's password unlocks it."""
    secure_cookies: bool = False
    """Set where the program is served over HTTPS: cookies then go over HTTPS only, under names that
    bind them to this host, and browsers are told to ask over HTTPS alone from then on."""

    @cached_property
    def zone(self) -> ZoneInfo:
        """The shop's time zone."""
        return ZoneInfo(self.time_zone)
