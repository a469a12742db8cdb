"""Two people at the same moment: the last administrator, and a burst of guesses."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from sqlalchemy import select

from app.accounts import service
from app.accounts.permissions import Role
from app.accounts.queries import get_account
from app.accounts.rules import Person
from app.accounts.sign_in import begin_sign_in
from app.accounts.tables import Account, SignInFailures
from app.accounts.throttle import TooManyFailures
from app.core.db import Sessions
from app.core.refusals import Refusal
from tests.conftest import NOW, Look

TRIES = 12


def test_two_administrators_who_remove_each_other_leave_one(
    sessions: Sessions, ada: Person, edda: Person, look: Look
) -> None:
    for _ in range(TRIES):
        with sessions.write.begin() as session:
            for person in (ada, edda):
                account = get_account(session, person.account_id)
                service.enable(session, account, actor=service.TERMINAL, now=NOW)
                both = frozenset({Role.ADMINISTRATOR, Role.AUDITOR})
                service.change_roles(session, account, both, actor=service.TERMINAL, now=NOW)
        start = Barrier(2)

        def remove(by: Person, other: Person, *, start: Barrier = start) -> str:
            with sessions.write() as session:
                start.wait()
                try:
                    account = get_account(session, other.account_id)
                    service.change_roles(session, account, {Role.AUDITOR}, actor=by.actor, now=NOW)
                    session.commit()
                except Refusal as refusal:
                    return refusal.code
            return "done"

        with ThreadPoolExecutor(2) as pool:
            told = sorted(pool.map(remove, (ada, edda), (edda, ada)))
        assert told == ["accounts.last_administrator", "done"]
        roles = look(select(Account.roles).where(Account.id.in_((ada.account_id, edda.account_id))))
        assert sum(Role.ADMINISTRATOR in chosen for chosen in roles) == 1


def test_of_a_burst_of_guesses_only_the_free_ones_are_judged(
    sessions: Sessions, odile: Person, look: Look
) -> None:
    start = Barrier(TRIES)

    def guess(_: int) -> bool:
        start.wait()
        try:
            with sessions.write.begin() as session:
                begin_sign_in(session, typed_name="odile", address="10.0.0.7", now=NOW)
        except TooManyFailures:
            return False
        return True

    with ThreadPoolExecutor(TRIES) as pool:
        judged = list(pool.map(guess, range(TRIES)))
    assert sum(judged) == 5
    assert set(look(select(SignInFailures.count))) == {5}
