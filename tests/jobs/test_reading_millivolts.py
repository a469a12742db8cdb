"""Files of millivolts on the page of a reading: type and cold junction are asked, never lost."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.jobs.readings import remember
from app.jobs.rules import RunState, StepKind
from app.jobs.schemas import TraceChosen
from app.jobs.tables import Run
from app.numerics.thermocouple_tables import ThermocoupleType
from app.numerics.thermocouples import compute_emf_mv
from app.plant.measuring import ASSUMED_CHAIN
from app.plant.queries import get_bench
from app.plant.service import describe_chain
from app.traces.files import read_logger_file
from app.traces.rules import Channel, ChannelMap, ChannelRole
from app.traces.tables import Trace
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import OFFSETS, Shop, heat
from tests.jobs.test_pages import open_cleared, record, step_path
from tests.jobs.test_reading_page import find_value

JUNCTION_C = 24.2
K = ThermocoupleType.K


def write_millivolts(junction: str = "CJC") -> bytes:
    """Write what a logger without a table of thermocouples would: mV of type K, and its block."""
    block_mv = float(compute_emf_mv(JUNCTION_C, K))
    lines = [f"Time,T1,T2,T3,T4,{junction}", "s,mV,mV,mV,mV,°C"]
    for second in range(401):
        emf = [float(compute_emf_mv(heat(second) + k, K)) - block_mv for k in OFFSETS.values()]
        lines.append(",".join([str(second), *(f"{one:.4f}" for one in emf), str(JUNCTION_C)]))
    return ("\n".join(lines) + "\n").encode()


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def start(client: TestClient, shop: Shop, look: Look, content: bytes) -> str:
    path = step_path(look, open_cleared(client, shop), StepKind.REMOVE)
    return record(client, shop, path, ("log.csv", content, "text/csv"))


def describe(shop: Shop) -> None:
    with shop.sessions.write() as session:
        chain = ASSUMED_CHAIN.model_copy(update={"note": "By the spool"})
        describe_chain(
            session, get_bench(session, shop.bench_id), chain, person=shop.ines, now=shop.now
        )
        session.commit()


def list_fields(page: str) -> dict[str, str]:
    """Return what the page would send as it stands, without its ticks."""
    form = page.split("<details", maxsplit=1)[0]
    names = re.findall(r'<(?:select|input)[^>]* name="(\w+)"', form)
    fields = {}
    for name in set(names) - {"csrf_token", "remember"}:
        control = re.search(
            rf'<select[^>]* name="{name}".*?</select>|<input[^>]* name="{name}"[^>]*>', form, re.S
        )
        assert control
        chosen = re.search(r'<option value="([^"]*)" selected', control[0])
        typed = re.search(r' value="([^"]*)"', control[0])
        if control[0].startswith("<input"):
            fields[name] = html.unescape(typed[1]) if typed else ""
        else:
            fields[name] = html.unescape(chosen[1]) if chosen else ""
    return fields


def test_the_bench_s_own_type_and_the_cold_junction_are_preset_with_their_reasons(
    client: TestClient, shop: Shop, look: Look
) -> None:
    describe(shop)
    run = start(client, shop, look, write_millivolts())
    page = client.get(run).text
    text = html.unescape(page)
    assert find_value(page, "thermocouple") == "K"
    assert "preset: the type that this bench is described with; is it so?" in text
    assert "Column 2 “T1”: millivolts of which type of thermocouple: K, J, T or N?" in text
    assert "“CJC” was taken for the cold junction: its header names the cold junction" in text
    assert "column 6 (as read)" in text
    assert 'name="channel_role_5"' not in page
    fields = list_fields(page)
    roles = [fields[f"channel_role_{place}"] for place in (1, 2, 3, 4)]
    assert roles == ["joint_centre", "joint_corner", "body", "board"]
    # As it stands the page can be kept: whoever keeps it has said what it shows.
    kept = client.post(run, data={**fields, "remember": "yes", "do": "keep"})
    assert kept.status_code == 303, kept.text
    (trace,) = look(select(Trace))
    assert trace.reading["choices"] == {"thermocouple": "K"}
    (run_kept,) = look(select(Run))
    assert run_kept.figures is not None
    peak = run_kept.figures["channels"][0]["peak"]
    assert peak["value"] == pytest.approx(238.0, abs=0.05)


def test_without_a_described_bench_nothing_is_preset_and_nothing_kept_without_a_type(
    client: TestClient, shop: Shop, look: Look
) -> None:
    run = start(client, shop, look, write_millivolts())
    page = client.get(run).text
    assert find_value(page, "thermocouple") == ""
    fields = list_fields(page)
    refused = client.post(run, data={**fields, "do": "keep"})
    assert refused.status_code == 422
    assert "Not kept yet" in refused.text
    assert "millivolts of which type of thermocouple" in refused.text
    assert look(select(Run.state)) == [RunState.RECORDING]
    # A column that is not used needs no type.
    one = {name: value for name, value in fields.items() if not name.endswith(("_2", "_3", "_4"))}
    kept = client.post(run, data={**one, "thermocouple_1": "K", "do": "keep"})
    assert kept.status_code == 303, kept.text


def test_a_form_without_any_channel_says_what_to_do(
    client: TestClient, shop: Shop, look: Look
) -> None:
    run = start(client, shop, look, write_millivolts())
    refused = client.post(run, data={"thermocouple": "K", "do": "keep"})
    assert refused.status_code == 422
    assert "say where the sensor of at least one column sits" in refused.text


def test_a_memory_without_one_column_of_temperatures_is_set_aside_and_said(
    client: TestClient, shop: Shop, look: Look
) -> None:
    content = write_millivolts()
    block = Channel(column=5, name="T1", role=ChannelRole.JOINT_CENTRE)
    with shop.sessions.write() as session:
        remember(
            session,
            Run(bench_id=shop.bench_id, bench=get_bench(session, shop.bench_id)),
            read_logger_file(content),
            TraceChosen(channel_map=ChannelMap(channels=(block,)), remember=True),
            person=shop.odile,
            now=shop.now,
        )
        audit.append(
            session, action="jobs.complete_run", subject=Subject("bench", shop.bench_id),
            actor=shop.odile.actor, now=shop.now, details={},
        )  # fmt: skip
        session.commit()
    run = start(client, shop, look, content)
    page = html.unescape(client.get(run).text)
    assert "What this bench remembers of such a file no longer fits" in page
    assert "This bench remembers these columns" not in page
    assert list_fields(page)["channel_role_1"] == "joint_centre"


def test_a_cold_junction_is_never_preset_as_a_joint(
    client: TestClient, shop: Shop, look: Look
) -> None:
    content = "\n".join(["Time [s],CJC [C]", *(f"{k},24.{k % 10}" for k in range(400)), ""])
    page = html.unescape(client.get(start(client, shop, look, content.encode())).text)
    assert list_fields(page)["channel_role_1"] == "unused"
    assert "No column is taken for a channel. Say where the sensor of a column sits" in page


def test_headers_with_a_unit_are_the_plan_s_channels_by_name(
    client: TestClient, shop: Shop, look: Look
) -> None:
    content = "\n".join(
        ["Time [s],T3 °C,T1 (degC)", *(f"{k},{20 + k / 2},{21 + k / 2}" for k in range(400)), ""]
    )
    fields = list_fields(client.get(start(client, shop, look, content.encode())).text)
    assert (fields["channel_1"], fields["channel_role_1"]) == ("T3", "body")
    assert (fields["channel_2"], fields["channel_role_2"]) == ("T1", "joint_centre")
