"""Whatever somebody writes is text: it is shown as it was written, and no part of it ever runs."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect
from sqlalchemy.orm import Session

from app.accounts import service as accounts
from app.accounts.queries import get_account
from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.boards import service as boards
from app.boards.rules import Side
from app.boards.schemas.assemblies import AssemblyFields
from app.boards.tables import Placement
from app.core.db import Sessions
from app.core.settings import Settings
from app.jobs import service, work
from app.jobs.queries import get_job
from app.jobs.rules import StepKind
from app.jobs.schemas import CloseJob, LotUsed, NewJob, NewJobSite, StepDone, ValueUsed
from app.materials.rules import PackageType
from app.materials.schemas import PartFields
from app.materials.service import add_part
from app.plant.schemas import BenchFields
from app.plant.service import add_bench
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import choose, default_body
from app.recipes.schemas import NewRecipe
from app.recipes.service import create_recipe, propose, publish
from app.traces.rules import Channel, ChannelMap, ChannelRole
from tests.browser.conftest import Visit
from tests.conftest import NOW
from tests.jobs.conftest import Shop, furnish, write_log

pytestmark = pytest.mark.browser

# Each would set the mark `window.ran`, or open a dialog, wherever it is taken for more than text.
IMAGE: Final = "<img src=x onerror=window.ran=1>"
SCRIPT: Final = '"><script>window.ran=2</script>'
CLOSING: Final = "</script><script>window.ran=3</script>"
ADDRESS: Final = "javascript:window.ran=4"
FOCUS: Final = "' autofocus onfocus='alert(5)"
DRAWING: Final = "]]></style><svg onload=window.ran=6>"
TEMPLATE: Final = "{{ 7 * 7 }}<b onclick=alert(7)>"

NAME: Final = f"Odile {IMAGE}"
SERIAL: Final = f"0417{SCRIPT}"
ASSEMBLY: Final = f"LIM{SCRIPT}"
PART: Final = f"ZQ{IMAGE}"
RECIPE: Final = f"U3{SCRIPT}"
TITLE: Final = f"Remove {CLOSING} and place"
CAUTIONS: Final = (IMAGE, CLOSING, f"{ADDRESS} {TEMPLATE}")
NOZZLE: Final = f"N{IMAGE}"
BENCH: Final = f"B{IMAGE}"
REASON: Final = f"Opens {CLOSING} {FOCUS}"
HOLD: Final = f"Smells {DRAWING}"
REMARK: Final = f"Kept {SCRIPT} {TEMPLATE}"

CHANNELS: Final = ChannelMap(
    channels=(
        Channel(column=1, name="T1", role=ChannelRole.JOINT_CENTRE),
        Channel(column=2, name="T2", role=ChannelRole.JOINT_CORNER),
        Channel(column=3, name=IMAGE, role=ChannelRole.BODY),
        Channel(column=4, name=SCRIPT, role=ChannelRole.BOARD),
    )
)
HEADERS: Final = ("T1", "T2", IMAGE, ADDRESS)

WATCH: Final = """
window.violations = [];
document.addEventListener('securitypolicyviolation', (event) => {
  window.violations.push(`${event.violatedDirective} ${event.blockedURI}`);
}, true);
"""
# What would run if it were asked to: handlers, addresses that are scripts, scripts in the page.
RUNNABLE: Final = r"""
[...document.querySelectorAll('*')].flatMap((element) => [...element.attributes]
  .filter((one) => one.name.startsWith('on') || /^\s*javascript:/i.test(one.value)
    && ['href', 'src', 'action', 'formaction', 'xlink:href'].includes(one.name))
  .map((one) => `${element.tagName} ${one.name}=${one.value}`)
).concat([...document.scripts].filter((one) => !one.src && one.type !== 'application/json')
  .map((one) => one.textContent))
"""

TYPED: Final = "[...document.querySelectorAll('input, textarea')].map((one) => one.value).join(' ')"


@dataclass
class Places:
    """The numbers of what holds such texts."""

    job_id: int = 0
    run_id: int = 0
    other_run_id: int = 0
    recording_id: int = 0
    board_id: int = 0
    assembly_id: int = 0
    part_id: int = 0
    bench_id: int = 0
    revision_id: int = 0


def make_body() -> RecipeBody:
    template = default_body(assembly_part_number=ASSEMBLY, designators=["U3"])
    body = choose(template, nozzle=NOZZLE, vacuum_cup=SCRIPT, flux=ADDRESS)
    return RecipeBody.model_validate({**body.model_dump(mode="json"), "cautions": CAUTIONS})


@pytest.fixture
def places(
    sessions: Sessions,
    settings: Settings,
    odile: Person,
    ines: Person,
    edda: Person,
    ada: Person,
) -> Places:
    """Give every text that a person can give as somebody hostile would."""
    shop = furnish(Shop(sessions, settings, odile, ines, edda, NOW), ada)
    found = Places()
    with sessions.write.begin() as session:
        account = get_account(session, odile.account_id)
        accounts.rename(
            session, account, username="odile", name=NAME, actor=accounts.TERMINAL, now=NOW
        )
    with sessions.write.begin() as session:
        write_all(session, shop, ada, found)
    return found


def write_all(session: Session, shop: Shop, ada: Person, found: Places) -> None:
    odile, ines = shop.odile, shop.ines
    bench = add_bench(
        session, BenchFields(code=BENCH, title=CLOSING, has_nitrogen=True), person=ada, now=NOW
    )
    part = add_part(
        session,
        PartFields(
            part_number=PART,
            title=TITLE,
            package_type=PackageType.BGA,
            classification_c=260,
            max_body_c=260,
            reflow_cycles_allowed=3,
            notes=f"{IMAGE}\n{CLOSING}",
        ),
        person=ines,
        now=NOW,
    )
    fields = AssemblyFields(part_number=ASSEMBLY, revision="B", title=TITLE, notes=DRAWING)
    assembly = boards.add_assembly(session, fields, person=ines, now=NOW)
    assembly.layout_at = NOW
    session.add(
        Placement(
            assembly_id=assembly.id,
            designator="U3",
            part_id=part.id,
            part_number=PART,
            value=IMAGE,
            package=DRAWING,
            x_mm=10.0,
            y_mm=20.0,
            rotation_deg=0.0,
            side=Side.TOP,
        )
    )
    session.flush()
    (board,) = boards.register_boards(
        session, assembly, [SERIAL], note=REMARK, person=odile, now=NOW
    )
    here = replace(shop, board_id=board.id, bench_id=bench.id)
    here.revision_id = publish_hostile(session, here)
    found.revision_id, found.board_id, found.bench_id = here.revision_id, board.id, bench.id
    found.assembly_id, found.part_id = assembly.id, part.id
    for is_last in (False, False, True):
        job = get_job(session, open_job(session, here))
        here.clear(session, job)
        service.place_hold(session, job, HOLD, person=odile, now=NOW)
        service.lift_hold(session, job, REMARK, person=ines, now=NOW)
        content = write_log(headers=HEADERS)
        run = here.start(session, job, StepKind.REMOVE, content)
        found.job_id = job.id
        if is_last:
            found.recording_id = run.id
            return
        here.complete(session, run, channel_map=CHANNELS, remark=REMARK)
        found.other_run_id, found.run_id = found.run_id, run.id
        done = StepDone(
            values=(ValueUsed(label="Nozzle", value=IMAGE),),
            lots=(LotUsed(what=SCRIPT[:20], lot=ADDRESS),),
            remark=REMARK,
        )
        step_id = here.step_id(session, job, StepKind.REMOVE)
        work.sign_step(session, job, step_id, done, person=odile, now=NOW)
        said = CloseJob.model_validate({"outcome": "rejected", "remark": REMARK})
        service.close_job(session, job, said, person=odile, now=NOW)


def publish_hostile(session: Session, shop: Shop) -> int:
    fields = NewRecipe(code=RECIPE, title=TITLE, reason=REASON, body=make_body())
    revision = create_recipe(session, fields, person=shop.ines, now=NOW)
    propose(session, revision, person=shop.ines, now=NOW)
    publish(session, revision, seen_digest=get_digest(revision), person=shop.edda, now=NOW)
    return revision.id


def open_job(session: Session, shop: Shop) -> int:
    new = NewJob(
        board_id=shop.board_id,
        reason=REASON,
        reference=ADDRESS,
        sites=[NewJobSite(designator="U3", recipe_revision_id=shop.revision_id)],
    )
    return service.open_job(session, new, person=shop.odile, now=NOW).id


def list_pages(places: Places) -> dict[str, tuple[str, ...]]:
    """Return each page that everybody may read, with the texts that it must show as they are."""
    return {
        "/bench": (SERIAL,),
        "/bench/closed": (SERIAL,),
        "/boards": (ASSEMBLY,),
        f"/boards/assemblies/{places.assembly_id}": (ASSEMBLY, TITLE, PART, SERIAL),
        f"/boards/{places.board_id}/history": (SERIAL, REASON, HOLD, REMARK, NAME),
        "/materials": (PART, TITLE),
        f"/materials/parts/{places.part_id}": (PART, TITLE),
        "/recipes": (RECIPE,),
        f"/recipes/revisions/{places.revision_id}": (RECIPE, TITLE, REASON, NOZZLE, *CAUTIONS),
        "/setup/benches": (BENCH,),
        f"/jobs/{places.job_id}": (SERIAL, REASON, ADDRESS, RECIPE, HOLD),
        f"/runs/{places.run_id}": (SERIAL, IMAGE, RECIPE, REMARK),
        f"/runs/compare?run={places.run_id}&run={places.other_run_id}": (IMAGE,),
        f"/find?q={places.board_id}": (),
    }


def watch(page: Page) -> list[str]:
    """Return the dialogs that open in a page from now on; its violations are noted within it."""
    opened: list[str] = []

    def note(dialog: Dialog) -> None:
        opened.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", note)
    page.add_init_script(WATCH)
    return opened


def check(page: Page, address: str, texts: tuple[str, ...]) -> list[tuple[str, str]]:
    """Hold that a page ran no text, on screen and on paper; return those it does not show."""
    answer = page.goto(address)
    assert answer is not None
    assert answer.status == 200, address
    page.wait_for_load_state("networkidle")
    for details in page.locator("details").all():
        details.evaluate("(one) => { one.open = true; }")
    for is_print in (True, False):
        page.emulate_media(media="print" if is_print else "screen")
        assert page.evaluate("window.ran") is None, address
        assert page.evaluate("window.violations") == [], address
        assert page.evaluate(RUNNABLE) == [], address
    told = page.locator("html").text_content() or ""
    shown = " ".join(f"{told} {page.evaluate(TYPED)}".split())
    return [(address, text) for text in texts if " ".join(text.split()) not in shown]


@pytest.fixture
def unguarded(chromium: Browser, address: str) -> Callable[[Page], Page]:
    """Return a function that opens a window like another one, without the policy for scripts.

    What runs nothing there runs nothing because it was written as text.
    """

    def open_like(page: Page) -> Page:
        state = page.context.storage_state()
        context = chromium.new_context(base_url=address, storage_state=state, bypass_csp=True)
        return context.new_page()

    return open_like


@pytest.mark.parametrize("username", ["odile", "ines", "anselm", "ada"])
def test_nothing_that_was_written_runs_for_any_role(
    places: Places, visit: Visit, unguarded: Callable[[Page], Page], username: str
) -> None:
    guarded = visit(username)
    for page in (guarded, unguarded(guarded)):
        opened = watch(page)
        missing = [
            one
            for address, texts in list_pages(places).items()
            for one in check(page, address, texts)
        ]
        assert missing == []
        assert opened == []


def test_nothing_runs_on_the_pages_of_those_who_write(
    places: Places, visit: Visit, unguarded: Callable[[Page], Page]
) -> None:
    worker, keeper = visit("odile"), visit("ada")
    for page in (worker, unguarded(worker)):
        opened = watch(page)
        reading = f"/runs/{places.recording_id}/reading"
        assert check(page, reading, (SERIAL, IMAGE, ADDRESS)) == []
        assert check(page, f"/boards/{places.board_id}/note", (SERIAL,)) == []
        assert page.locator("textarea").first.input_value() == REMARK
        assert opened == []
    for page in (keeper, unguarded(keeper)):
        opened = watch(page)
        assert check(page, "/audit", (NAME,)) == []
        check(page, f"/setup/benches/{places.bench_id}", ())
        assert opened == []


def test_a_chart_s_legend_and_labels_run_nothing(
    places: Places, visit: Visit, unguarded: Callable[[Page], Page]
) -> None:
    guarded = visit("odile")
    for page in (guarded, unguarded(guarded)):
        opened = watch(page)
        page.goto(f"/runs/{places.run_id}")
        chart = page.locator("#chart .main-svg").first
        expect(chart).to_be_visible()
        chart.hover()
        assert check(page, f"/runs/{places.run_id}", (IMAGE, SCRIPT)) == []
        assert opened == []


def test_what_did_run_would_be_noticed(visit: Visit, unguarded: Callable[[Page], Page]) -> None:
    page = unguarded(visit("odile"))
    watch(page)
    page.goto("/bench")
    page.evaluate("(text) => document.body.insertAdjacentHTML('beforeend', text)", IMAGE)
    page.wait_for_function("window.ran === 1")
    assert page.evaluate(RUNNABLE) == ["IMG onerror=window.ran=1"]


def test_what_the_policy_stops_would_be_noticed(
    chromium: Browser, address: str, visit: Visit
) -> None:
    state = visit("odile").context.storage_state()
    page = chromium.new_context(base_url=address, storage_state=state).new_page()
    watch(page)
    page.goto("/bench")
    page.evaluate("(text) => document.body.insertAdjacentHTML('beforeend', text)", IMAGE)
    page.wait_for_function("window.violations.length > 0")
    assert page.evaluate("window.violations[0]").startswith("script-src")
    assert page.evaluate("window.ran") is None
