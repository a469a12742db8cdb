"""A run against what its part may never exceed, whatever its recipe says."""

import csv
import io
import re
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.jobs.pages.charts import DIGEST_SHOWN
from app.jobs.rules import StepKind
from app.jobs.standing_verdicts import group_windows
from app.jobs.tables import Run
from app.materials.rules import MoistureLevel
from app.materials.schemas import PartFields
from app.materials.service import edit_part
from app.materials.tables import Part
from app.traces.rules import Channel, ChannelMap, ChannelRole
from app.windows import service
from app.windows.body import WindowText
from app.windows.queries import get_version
from app.windows.schemas import NewWindow
from app.windows.standing import PartFacts, stand_for
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import CHANNELS, Shop, write_log
from tests.jobs.test_run_page import record, words
from tests.windows.conftest import bring_to

SAC305 = "Sn96.5Ag3.0Cu0.5 (SAC305)"
WITHOUT_BODY = ChannelMap(
    channels=(
        Channel(column=1, name="T1", role=ChannelRole.JOINT_CENTRE),
        Channel(column=2, name="T2", role=ChannelRole.JOINT_CORNER),
    )
)
WITH_NEIGHBOUR = ChannelMap(
    channels=(
        *CHANNELS.channels[:3],
        Channel(column=4, name="T4", role=ChannelRole.ADJACENT, designator="U5"),
    )
)


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def section(page: str) -> str:
    return page.split("<h2>Never exceed</h2>")[1].split("<h2>", maxsplit=1)[0]


def ask(client: TestClient, number: int, window: str = "") -> dict[str, Any]:
    answer = client.get(f"/api/v1/runs/{number}/standing-windows", params={"window": window})
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def publish_window(shop: Shop, sessions: Sessions, code: str, **more: object) -> None:
    text = WindowText.model_validate(
        {
            "format": 1,
            "is_never_exceed": True,
            "part_numbers": ["ZQ-4410"],
            "rows": [
                {
                    "metric": "peak_c",
                    "roles": ["body"],
                    "upper": 230,
                    "status": "from_memory",
                    "document": "Maker's letter",
                    "clause": "page 2",
                }
            ],
            **more,
        }
    )
    with sessions.write.begin() as session:
        new = NewWindow(code=code, title="Body of U3", reason="Delicate", text=text)
        version = service.create_window(session, new, person=shop.ines, now=shop.now)
        bring_to(session, version.id, RevisionState.PUBLISHED, shop.ines, shop.edda, shop.now)
        assert get_version(session, version.id).state is RevisionState.PUBLISHED


def change_part(shop: Shop, sessions: Sessions, **changes: object) -> int:
    with sessions.write.begin() as session:
        part = session.scalars(select(Part)).one()
        known = {name: getattr(part, name) for name in PartFields.model_fields}
        fields = PartFields.model_validate({**known, **changes})
        edit_part(session, part, fields, person=shop.ines, now=shop.now)
        return part.id


def test_a_run_is_held_against_what_stands_for_its_part_the_deciding_line_first(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    told = ask(client, record(shop, sessions))
    assert [one["key"] for one in told["windows"]] == [
        "classification-pb-free",
        "part-body",
        "adjacent-bodies",
        "adjacent-joints-sn96-5ag3-0cu0-5-sac305",
    ]
    profile, body, adjacent, _ = told["windows"]
    assert all(len(one["digest"]) == 64 and one["version"] == 1 for one in told["windows"])
    # The part states 260 °C for both, and T3 peaks at 240.5 °C: (240.5 − 25)/(260 − 25) = 91.7 %.
    (peak,) = body["lines"]
    assert peak["result"]["value"] == pytest.approx(240.5)
    assert peak["result"]["window_use_pct"] == pytest.approx(100 * 215.5 / 235)
    assert peak["document"] == "part ZQ-4410"
    assert profile["lines"][0]["result"]["window_use_pct"] == max(
        line["result"]["window_use_pct"] for line in profile["lines"]
    )
    near = next(
        line
        for line in profile["lines"]
        if line["result"]["metric"] == "time_within_5_of_classification_s"
    )
    assert (near["document"], near["clause"]) == ("J-STD-020 rev D", "Table 5-2")
    assert "confirm against your copy" in near["caution"]
    # Nobody put a thermocouple to a neighbour: it cannot be said, and is no alarm.
    assert (adjacent["state"], adjacent["is_measured"]) == ("cannot say", False)
    assert adjacent["lines"][0]["result"]["reason"] == "nobody measured it"
    assert told["state"] == "inside"
    assert told["rule"].startswith("guarded acceptance")
    assert told["chain"].startswith("assumed")


def test_a_body_beyond_what_is_never_to_be_exceeded_is_said_at_the_top(
    client: TestClient, shop: Shop, sessions: Sessions, look: Look
) -> None:
    publish_window(shop, sessions, "OWN-BODY")
    number = record(shop, sessions)
    (run,) = look(select(Run))
    assert run.verdict == "inside"
    page = client.get(f"/runs/{number}").text
    top = page.split('class="verdict verdict-')[1]
    assert top.startswith("stop")
    told = words(top.split("</div>", maxsplit=1)[0])
    assert "● inside the window" in told
    assert (
        "■ Outside what is never to be exceeded. Peak temperature of T3 is 240.5 °C against at "
        "most 230 °C: 10.5 K beyond it, uncertainty ± 3.1 K; window use 105 %. Body of U3." in told
    )
    first = unescape(words(section(page))).split("more limits")[0]
    assert "Maker's letter, page 2 · ▲ from memory; confirm against your copy" in first
    assert re.search(r"OWN-BODY version 1, digest [0-9a-f]{12}\b", first)
    assert "J-STD-020" not in first
    assert "J-STD-020 rev D, Table 5-2" in words(section(page))


def test_a_run_inside_everything_is_no_alarm_and_what_nobody_measured_is_said_quietly(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions, channel_map=WITHOUT_BODY)
    page = client.get(f"/runs/{number}").text
    assert "standing-alarm" not in page
    found = words(section(page))
    assert found.startswith("○ nobody measured it")
    assert "○ Nobody measured package body: Peak temperature, Time within 5 °C" in found
    assert "▲ cannot say" not in found
    told = ask(client, number)
    assert (told["state"], told["is_measured"]) == ("cannot say", False)


def test_a_body_thermocouple_that_fell_off_is_named(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    gone = {(second, "T3"): "OPEN" for second in range(150, 250)}
    number = record(shop, sessions, write_log(cells=gone))
    found = words(section(client.get(f"/runs/{number}").text))
    assert "▲ cannot say" in found
    assert "T3 (package body): left out:" in found


def test_what_is_not_known_of_the_part_is_said_with_where_to_add_it(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions)
    part_id = change_part(shop, sessions, classification_c=None, max_body_c=None)
    page = section(client.get(f"/runs/{number}").text)
    assert "length, width and height of part ZQ-4410 are not" in words(page)
    assert f'href="/materials/parts/{part_id}"' in page
    told = ask(client, number)
    assert "classification-pb-free" not in [one["key"] for one in told["windows"]]
    assert told["not_known"][0].startswith("The body's limits are not known")


def test_a_neighbour_is_held_to_200_c_by_its_own_channel(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions, channel_map=WITH_NEIGHBOUR)
    adjacent = next(
        one for one in ask(client, number)["windows"] if one["key"] == "adjacent-bodies"
    )
    (line,) = adjacent["lines"]
    assert (line["result"]["channel"], line["result"]["upper"]) == ("T4", 200)
    assert line["is_measured"]


def test_another_window_is_held_on_request_and_kept_nowhere(
    client: TestClient, shop: Shop, sessions: Sessions, look: Look
) -> None:
    number = record(shop, sessions)
    key = "joints-sn96-5ag3-0cu0-5-sac305"
    (before,) = look(select(Run))
    page = client.get(f"/runs/{number}?window={key}").text
    (after,) = look(select(Run))
    assert (before.figures, before.version) == (after.figures, after.version)
    assert f'<option value="{key}" selected>' in page
    asked = words(page.split('id="asked-window"')[1].split("</tbody>")[0])
    assert "Asked for: Joints of Sn96.5Ag3.0Cu0.5 (SAC305)" in asked
    assert "from memory; confirm against your copy" in asked
    # A removal is held against upper limits alone, as by its recipe's window.
    assert "at most 245 °C" in asked
    assert f"unit=F&amp;window={key}" in page
    assert ask(client, number, key)["asked"]["key"] == key
    assert ask(client, number)["asked"] is None


def test_a_joint_is_held_against_both_limits_at_reflow(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions, kind=StepKind.REFLOW)
    asked = ask(client, number, "joints-sn96-5ag3-0cu0-5-sac305")["asked"]
    peaks = [one["result"] for one in asked["lines"] if one["result"]["metric"] == "peak_c"]
    assert {(one["lower"], one["upper"]) for one in peaks} == {(230, 245)}


def test_a_window_that_cannot_be_held_is_refused_by_its_field(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions)
    page = client.get(f"/runs/{number}?window=no-such")
    assert page.status_code == 422
    assert "■ There is no window “no-such”." in words(page.text)
    assert "● inside the window" in words(section(page.text))
    answer = client.get(f"/api/v1/runs/{number}/standing-windows?window=no-such")
    assert answer.status_code == 404
    assert client.get(f"/runs/{number}?window=%00").status_code == 422


def test_the_table_and_the_chart_tell_windows_digests_and_status(
    client: TestClient, shop: Shop, sessions: Sessions, signed_in: SignedIn, ines: Person
) -> None:
    publish_window(shop, sessions, "OWN-BODY")
    number = record(shop, sessions)
    engineer = signed_in(ines)
    answer = engineer.get(f"/api/v1/runs/{number}/standing-windows.csv")
    rows = list(csv.reader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    assert rows[0] == ["Never exceed", "outside"]
    head = rows.index(next(row for row in rows if row[:1] == ["Window"]))
    own = next(dict(zip(rows[head], row, strict=True)) for row in rows if row[:1] == ["OWN-BODY"])
    assert (own["Verdict"], own["Channel"], own["Upper"]) == ("outside", "T3", "230")
    assert (own["Status"], own["Source"]) == ("from memory", "Maker's letter, page 2")
    assert "confirm against your copy" in own["Caution"]
    about = engineer.get(f"/runs/{number}/chart.json").json()["about"]
    assert about["Never exceed"].startswith("outside. Peak temperature of T3 is 240.5 °C")
    assert f"OWN-BODY version 1, digest {own['Digest'][:DIGEST_SHOWN]}" in about["Held by"]
    assert "confirm against your copy" in about["Cautions of these"]
    table = engineer.get(f"/runs/{number}/chart.csv").text
    assert "Never exceed,outside." in table.replace('"', "")
    picture = words(engineer.get(f"/runs/{number}/chart.svg").text)
    assert "Never exceed outside. Peak temperature of T3" in picture


def test_windows_that_ask_for_the_same_temperatures_are_measured_at_once() -> None:
    known = PartFacts("P-1", 15, 15, 1.7, max_body_c=245)
    lead_free = stand_for(known, alloy=SAC305).windows
    ((temperatures, places),) = group_windows(lead_free)
    assert places == [0, 1, 2, 3]
    assert temperatures["liquidus_c"] == 217
    with_lead = stand_for(known, alloy="Sn63Pb37").windows
    assert [places for _, places in group_windows([*lead_free, with_lead[0]])] == [
        [0, 1, 2, 3],
        [4],
    ]


def test_every_neighbour_of_level_1_lets_the_200_c_go(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions, channel_map=WITH_NEIGHBOUR)
    # U5, which T4 sits on, is another one of the same part.
    change_part(shop, sessions, moisture_level=MoistureLevel.L1)
    told = ask(client, number)
    assert "adjacent-bodies" not in [one["key"] for one in told["windows"]]
    assert "moisture sensitivity level 1" in " ".join(told["not_known"])
