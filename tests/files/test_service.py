"""The same content is kept once, also when several people bring it at the same moment."""

import threading

from sqlalchemy import func, select

from app.accounts.rules import Person
from app.audit.rules import Subject
from app.audit.service import append
from app.core.db import Sessions
from app.files.queries import get_content
from app.files.service import keep_file
from app.files.tables import StoredFile
from tests.conftest import NOW, Look

CONTENT = b"Time (s),T1\n0,25.0\n1,25.4\n"


def bring(sessions: Sessions, person: Person, start: threading.Barrier, kept: list[str]) -> None:
    start.wait()
    with sessions.write.begin() as session:
        digest = keep_file(session, CONTENT, by_id=person.account_id, now=NOW)
        append(
            session,
            action="tests.bring",
            subject=Subject("test", 1),
            actor=person.actor,
            now=NOW,
            details={"sha256": digest},
        )
        assert get_content(session, digest) == CONTENT
    kept.append(digest)


def test_many_who_bring_the_same_file_at_once_keep_one(
    sessions: Sessions, odile: Person, look: Look
) -> None:
    start, kept = threading.Barrier(8), list[str]()
    threads = [
        threading.Thread(target=bring, args=(sessions, odile, start, kept)) for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(kept) == 8
    assert len(set(kept)) == 1
    assert look(select(func.count()).select_from(StoredFile)) == [1]
