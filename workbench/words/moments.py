"""Days, moments and durations as a person reads them: by the clock on the wall, in their
language."""

from __future__ import annotations

from datetime import datetime, tzinfo

from workbench.words.language import ENGLISH, Language, current

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_text(at: datetime, language: Language | None = None) -> str:
    """'5 Nov'."""
    code = (language or current()).code
    if code == ENGLISH:
        return f"{at.day} {MONTHS[at.month - 1]}"
    from babel.dates import format_skeleton

    return format_skeleton("MMMd", at, locale=code)


def moment_text(when_utc: str, zone: tzinfo | None = None, language: Language | None = None) -> str:
    """'5 Nov 2026, 14:05' by the clock on the wall; the text itself where it is no time."""
    at, code = local(when_utc, zone), (language or current()).code
    if at is None:
        return when_utc
    if code == ENGLISH:
        return f"{day_text(at, language)} {at.year}, {at:%H:%M}"
    from babel.dates import format_datetime

    return format_datetime(at, "d MMM y, HH:mm", locale=code)


def zone_text(at: datetime) -> str:
    """'CET (UTC+01:00)'; 'UTC' alone where it is that."""
    offset, name = f"{at:%z}", at.tzname() or ""
    if not int(offset or 0):
        return "UTC"
    by_clock = f"UTC{offset[:3]}:{offset[3:5]}".replace("-", "−")
    return by_clock if not name or name.startswith(("UTC", offset[0])) else f"{name} ({by_clock})"


def local(when_utc: str, zone: tzinfo | None = None) -> datetime | None:
    """A stored moment by the clock on the wall; None where the text is no moment."""
    try:
        return datetime.fromisoformat(when_utc).astimezone(zone)
    except (ValueError, OverflowError):
        return None


def duration_text(duration_s: float) -> str:
    """'0:42', '12:05' or '1:02:33'."""
    seconds = max(0, int(duration_s))
    hours, rest = divmod(seconds, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
