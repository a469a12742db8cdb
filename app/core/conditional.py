"""Edits that say which version they saw: `ETag` out, `If-Match` in (RFC 9110)."""

from typing import Annotated

from fastapi import Header

from app.core.refusals import Missing, Stale

IfMatch = Annotated[
    str | None,
    Header(max_length=100, description='The `ETag` of the version you read, e.g. `"3"`.'),
]


class VersionNotStated(Missing):
    """An edit came without the version it was made from."""

    code = "core.version_not_stated"


class EditedMeanwhile(Stale):
    """The row moved on between reading and writing."""

    code = "core.edited_meanwhile"


def spell_etag(version: int) -> str:
    """Spell a row's version as an entity tag."""
    return f'"{version}"'


def check_if_match(if_match: str | None, version: int) -> None:
    """Refuse unless the stated tag is that of the present version.

    VersionNotStated without a tag; EditedMeanwhile with another one.
    """
    if if_match is None:
        raise VersionNotStated(
            f"Say which version you edit: send If-Match: {spell_etag(version)}.", field="If-Match"
        )
    check_version(if_match.strip().removeprefix("W/").strip('"'), version)


def check_version(seen: str, version: int) -> None:
    """Refuse with EditedMeanwhile when the version that was seen is not the present one."""
    if seen != str(version):
        raise EditedMeanwhile(
            f"Somebody changed this meanwhile: you saw version {seen[:20]}, it is now {version}. "
            "Look at the new one and make your change again.",
            field="version",
        )
