"""The plant's own windows: begun from built-in ones, changed, published by other eyes."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from functools import partial
from typing import Final

from sqlalchemy.orm import Session

from app.approval.queries import find_open, get_digest, list_revisions
from app.windows.body import WindowText
from app.windows.built_in import BuiltIn, Package, get_built_in
from app.windows.queries import find_window, get_text
from app.windows.rules import WindowUnknown
from app.windows.schemas import TextFields
from app.windows.service import copy_version, propose, publish, save_draft, start_from_built_in
from app.windows.tables import PlantWindow, WindowVersion
from seed_demo.load_acts import Act, Stage
from seed_demo.plant import get_part, list_people
from seed_demo.working_time import ZONE, at, find_working_day

_JOINTS: Final = "OWN-SAC305"
_POWER_STAGE: Final = "BODY-TRAUVIK"
_PROCESSOR: Final = "BODY-OSTWEN"
_OWN: Final[Mapping[str, object]] = {
    "status": "plants_own",
    "document": "Work instruction W-12",
    "seen_in": "",
    "note": "",
    "others": [],
}

_NAMES: Final[Mapping[str, str]] = {
    _JOINTS: "Joints of SAC305 on our boards",
    _POWER_STAGE: "Never exceed: body of the power stage",
    _PROCESSOR: "Never exceed: body of the tide processor",
}
_REASONS: Final[Mapping[str, str]] = {
    _JOINTS: "Our trials of the winter gave joints of even grain between 232 °C and 243 °C.",
    _POWER_STAGE: "Two power stages changed colour at 249 °C: keep 5 K below the maker's limit.",
    _PROCESSOR: "Our copy of the standard is to be read against this row by row.",
}
# What was written over the rows of the built-in window: metric → fields.
_WRITTEN: Final[Mapping[str, Mapping[str, Mapping[str, object]]]] = {
    _JOINTS: {
        "peak_c": {"lower": 232, "upper": 243, "clause": "3.1", **_OWN},
        "spread_k": {"upper": 6, "clause": "3.4", **_OWN},
    },
    _POWER_STAGE: {"peak_c": {"upper": 245, "clause": "5.2", **_OWN}},
}
_SECOND: Final = {"time_above_liquidus_s": {"lower": 55, "upper": 90, "clause": "3.2", **_OWN}}
_SECOND_REASON: Final = "Heavy boards reach 60 s late: 55 s gave the same joints in 40 sections."


def list_window_acts(stage: Stage, end: datetime) -> Iterator[Act]:
    """List the life of three windows: one published twice, one once, one a draft still."""
    engineers = [person.username for person in list_people("engineer")]
    author, approver = engineers[0], engineers[1]
    day = find_working_day(end.astimezone(ZONE).date() - timedelta(days=190))
    yield Act(at(day, 10, 41), partial(_begin, stage, _JOINTS, author))
    yield Act(at(day, 11, 8), partial(_write, stage, _JOINTS, author))
    yield from _decide(stage, _JOINTS, author, approver, day)
    day = find_working_day(end.astimezone(ZONE).date() - timedelta(days=121))
    yield Act(at(day, 10, 17), partial(_begin, stage, _POWER_STAGE, approver))
    yield Act(at(day, 10, 33), partial(_write, stage, _POWER_STAGE, approver))
    yield from _decide(stage, _POWER_STAGE, approver, author, day)
    day = find_working_day(end.astimezone(ZONE).date() - timedelta(days=63))
    yield Act(at(day, 9, 52), partial(_copy, stage, author))
    yield Act(at(day, 10, 4), partial(_write_second, stage, author))
    yield from _decide(stage, _JOINTS, author, approver, day)
    day = find_working_day(end.astimezone(ZONE).date() - timedelta(days=6))
    yield Act(at(day, 10, 26), partial(_begin, stage, _PROCESSOR, engineers[2]))


def _decide(stage: Stage, code: str, author: str, approver: str, day: date) -> Iterator[Act]:
    yield Act(at(day, 11, 47), partial(_propose, stage, code, author))
    yield Act(at(day, 15, 29), partial(_publish, stage, code, approver))


def _begin(stage: Stage, code: str, author: str, session: Session, now: datetime) -> None:
    start_from_built_in(
        session,
        _find_start(code),
        code=code,
        title=_NAMES[code],
        reason=_REASONS[code],
        person=stage.people[author],
        now=now,
    )


def _find_start(code: str) -> BuiltIn:
    if code == _JOINTS:
        return get_built_in("joints-sn96-5ag3-0cu0-5-sac305")
    part = get_part("TRAUVIK-L60" if code == _POWER_STAGE else "OSTWEN-B324")
    volume_mm3 = part.length_mm * part.width_mm * part.height_mm
    return get_built_in("classification-pb-free", Package(part.height_mm, volume_mm3))


def _write(stage: Stage, code: str, author: str, session: Session, now: datetime) -> None:
    version = _get_open(session, code)
    text = _change(get_text(version), _WRITTEN[code])
    if code == _POWER_STAGE:
        text = text.model_copy(update={"part_numbers": ("TRAUVIK-L60",)})
    fields = TextFields(title=version.title, reason=version.reason, text=text)
    _save(stage, version, fields, author, session, now)


def _copy(stage: Stage, author: str, session: Session, now: datetime) -> None:
    window = _get_window(session, _JOINTS)
    copy_version(
        session,
        window,
        list_revisions(session, WindowVersion, window.id)[0],
        reason=_SECOND_REASON,
        person=stage.people[author],
        now=now,
    )


def _write_second(stage: Stage, author: str, session: Session, now: datetime) -> None:
    version = _get_open(session, _JOINTS)
    text = _change(get_text(version), _SECOND)
    fields = TextFields(title=version.title, reason=version.reason, text=text)
    _save(stage, version, fields, author, session, now)


def _save(
    stage: Stage,
    version: WindowVersion,
    fields: TextFields,
    author: str,
    session: Session,
    now: datetime,
) -> None:
    save_draft(
        session,
        version,
        fields,
        seen_version=str(version.version),
        person=stage.people[author],
        now=now,
    )


def _propose(stage: Stage, code: str, author: str, session: Session, now: datetime) -> None:
    propose(session, _get_open(session, code), person=stage.people[author], now=now)


def _publish(stage: Stage, code: str, approver: str, session: Session, now: datetime) -> None:
    version = _get_open(session, code)
    person = stage.people[approver]
    publish(session, version, seen_digest=get_digest(version), person=person, now=now)


def _change(text: WindowText, written: Mapping[str, Mapping[str, object]]) -> WindowText:
    told = text.model_dump(mode="json")
    rows = [{**row, **written.get(row["metric"], {})} for row in told["rows"]]
    return WindowText.model_validate({**told, "rows": rows})


def _get_window(session: Session, code: str) -> PlantWindow:
    window = find_window(session, code)
    if window is None:
        raise WindowUnknown(f"There is no window {code}.")
    return window


def _get_open(session: Session, code: str) -> WindowVersion:
    version = find_open(session, WindowVersion, _get_window(session, code).id)
    if version is None:
        raise WindowUnknown(f"Window {code} has no open version.")
    return version
