"""A run's page: what is shown on request, what is judged, and what older figures still say."""

import json
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text
from typer.testing import CliRunner

from app.accounts.rules import Person
from app.cli import main
from app.core.db import Sessions
from app.jobs.outcomes import list_doubts
from app.jobs.queries import get_job, get_run, load_card
from app.jobs.recompute import Outcome, list_differences, list_kept_runs, recompute_run
from app.jobs.rules import StepKind
from app.plant.measuring import parse_chain
from app.plant.queries import get_bench
from app.plant.service import describe_chain
from tests.conftest import SignedIn
from tests.jobs.conftest import CHANNELS, Shop, make_body, publish_recipe, write_log
from tests.jobs.test_run_figures import CALIBRATED, limit


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def record(
    shop: Shop,
    sessions: Sessions,
    content: bytes | None = None,
    *,
    kind: StepKind = StepKind.REMOVE,
    **said: object,
) -> int:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        for earlier in (StepKind.REMOVE, StepKind.DRESS, StepKind.DEPOSIT, StepKind.PLACE):
            if kind is StepKind.REFLOW:
                shop.sign(session, job, earlier)
        run = shop.complete(session, shop.start(session, job, kind, content), **said)
        session.commit()
        return run.id


def words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def section(page: str, name: str) -> str:
    part = page.split(f'id="{name}"')[1].split("<h2>", maxsplit=1)[0]
    return part.split('id="zones"')[0]


def test_the_rule_the_definitions_and_the_chain_are_named(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions)
    page = words(client.get(f"/runs/{number}").text)
    assert "Decided by guarded acceptance, guard band w = U (k = 2), JCGM 106" in page
    assert "definitions 3." in page
    assert "Measuring chain: assumed (common practice, no source): type K" in page
    assert "no chain is described for this bench" in page


def test_uncertainties_are_shown_on_request_alone_and_stay_in_the_address(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions)
    plain = client.get(f"/runs/{number}").text
    assert "±" not in words(section(plain, "figures"))
    assert "± U" in words(section(plain, "window"))
    assert "± 3.1 K" not in section(plain, "window")
    (link,) = re.findall(r'href="([^"]*show=uncertainty[^"]*)#window"', plain)
    shown = client.get(link).text
    assert "± 3.1 K" in section(shown, "window")
    assert "238.0 ± 3.1 °C" in section(shown, "figures")
    assert "Hide the uncertainties" in shown
    # Other views of the same page keep it.
    assert "unit=F&amp;show=uncertainty" in shown
    assert '<input type="hidden" name="show" value="uncertainty">' in shown
    assert client.get(f"/runs/{number}?show=everything").status_code == 422


def test_each_crossing_is_shown_on_request(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions)
    assert "Up at" not in client.get(f"/runs/{number}").text
    page = words(client.get(f"/runs/{number}?show=crossings").text)
    # The profile passes 220 °C at 215 s and 290 s.
    assert "T1 215.0 s 290.0 s 75.0 s" in page


def test_zones_ceilings_and_definitions_are_on_the_page(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions)
    page = words(client.get(f"/runs/{number}").text)
    assert "Zones: what was set and what was reached" in page
    assert "settled" in page
    assert "Beside the joints" in page
    assert "T3 250.0 °C 240.5 °C +9.5 K 0.0 s" in page
    for told in ("two limits the distance from their middle", "law of propagation (JCGM 100)"):
        assert told in page


def test_a_fault_is_told_with_its_samples_and_what_follows_and_marked_in_the_chart(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number = record(shop, sessions, write_log(cells={(200, "T2"): "320.0"}))
    page = client.get(f"/runs/{number}").text
    table = words(page.split("Faults found before anything was computed")[1].split("</table>")[0])
    assert "T2 Spike: out of line at" in table
    assert "201" in table
    # The curve beside it shows that the reading alone is wrong: the peak comes much later.
    assert "a caution; every figure can be said" in table
    (mark,) = client.get(f"/runs/{number}/chart.json").json()["marks"]
    assert (mark["channel"], mark["words"]) == ("T2", "spike")


def test_a_lift_before_its_rule_is_said_and_asks_for_a_remark_at_the_end(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    early = record(shop, sessions, lifted_at_s=225.0)
    page = words(client.get(f"/runs/{early}").text)
    assert "▲ The part was lifted at 225.0 s, too early: 8.3 s before the rule was met" in page
    with sessions.read() as session:
        run = get_run(session, early)
        card = load_card(session, get_job(session, run.job_site.job_id))
        assert "U3 was lifted before its lift rule was met." in list_doubts(card)


def test_a_lift_is_said_on_the_form_of_a_removal_and_refused_beyond_the_trace(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        number = shop.start(session, job, StepKind.REMOVE).id
        session.commit()
    address = f"/runs/{number}/reading"
    assert 'name="lifted_at_s"' in client.get(address).text
    form = {"do": "keep", "lifted_at_s": "4000"}
    for place, one in enumerate(CHANNELS.channels, start=1):
        form |= {f"channel_{place}": one.name, f"channel_role_{place}": str(one.role)}
    token = re.findall(r'name="csrf" value="([^"]+)"', client.get(address).text)[0]
    refused = client.post(address, data={**form, "csrf": token}, follow_redirects=False)
    assert refused.status_code == 422
    assert "cannot be lifted at 4000" in refused.text
    kept = client.post(
        address, data={**form, "lifted_at_s": "250,5", "csrf": token}, follow_redirects=False
    )
    assert kept.status_code == 303
    assert "The part was lifted at 250.5 s, 17.2 s after the rule was met" in words(
        client.get(f"/runs/{number}").text
    )


def test_a_reflow_too_close_to_call_asks_for_a_remark_and_is_no_stop(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    body = limit(make_body(), [{"metric": "peak_c", "roles": ["joint_centre"], "upper": 239}])
    with sessions.write() as session:
        shop.revision_id = publish_recipe(shop, session, body, code="LIM-U3-NEAR")
        session.commit()
    number = record(shop, sessions, kind=StepKind.REFLOW)
    page = client.get(f"/runs/{number}").text
    assert "verdict-caution" in page
    assert "too close to call" in page
    with sessions.read() as session:
        run = get_run(session, number)
        assert run.verdict == "too close to call"
        (doubt,) = list_doubts(load_card(session, get_job(session, run.job_site.job_id)))
        assert doubt.startswith("The last reflow of U3 is too close to call")


def test_the_benchs_chain_makes_the_figures_and_is_shown_with_its_correction(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        chain = parse_chain(CALIBRATED.model_dump(mode="json"))
        describe_chain(
            session, get_bench(session, shop.bench_id), chain, person=shop.ines, now=shop.now
        )
        session.commit()
    number = record(shop, sessions)
    answer = client.get(f"/api/v1/runs/{number}").json()["figures"]
    assert answer["channels"][0]["correction_k"] == -0.5
    assert answer["channels"][0]["peak"]["value"] == 237.5
    page = words(client.get(f"/runs/{number}").text)
    assert "−0.5 K added to its readings" in page
    assert "Measuring chain Type K, IEC 60584-1 class 1" in page
    assert "no chain is described" not in page
    # The samples stay as recorded.
    samples = client.get(f"/api/v1/runs/{number}/samples").json()
    assert max(samples["channels"][0]["temperature_c"]) == 238.0
    with sessions.read() as session:
        assert recompute_run(session, number).outcome is Outcome.SAME


def test_what_is_drawn_compared_and_exported_has_the_corrections_of_the_figures(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    with sessions.write() as session:
        chain = parse_chain(CALIBRATED.model_dump(mode="json"))
        describe_chain(
            session, get_bench(session, shop.bench_id), chain, person=shop.ines, now=shop.now
        )
        session.commit()
    number = record(shop, sessions)
    drawn = client.get(f"/runs/{number}/chart.json").json()["channels"][0]
    assert drawn["correction_k"] == -0.5
    assert max(drawn["temperature"]) == 237.5
    seen = client.get(f"/runs/{number}/chart.csv").text
    assert "T1 (°C; −0.5 K of calibration added)" in seen
    assert "237.500," in seen
    with sessions.write() as session:
        job = get_job(session, get_run(session, number).job_site.job_id)
        again = shop.complete(session, shop.start(session, job, StepKind.REMOVE)).id
        session.commit()
    asked = f"run={number}&run={again}&channel=T1"
    compared = client.get(f"/runs/compare/chart.json?{asked}").json()
    assert max(compared["runs"][0]["temperature"]) == 237.5
    table = client.get(f"/runs/compare/chart.csv?{asked}").text
    assert "calibration in it (K)" in table
    assert ",237.500,-0.5" in table
    # As recorded stays as recorded.
    assert "237.500" not in client.get(f"/api/v1/runs/{number}/samples.csv").text


def test_exports_carry_state_uncertainty_rule_definitions_and_chain(
    client: TestClient, shop: Shop, sessions: Sessions, anselm: Person, signed_in: SignedIn
) -> None:
    number = record(shop, sessions)
    about = signed_in(anselm).get(f"/runs/{number}/chart.json").json()["about"]
    assert about["Verdict"] == "inside the window"
    assert about["Deciding limit"] == (
        "Peak temperature of T2 239.5 ± 3.1 °C, allowed at most 245 °C, use 98 %"
    )
    assert about["Decided by"].startswith("guarded acceptance")
    assert about["Definitions"] == "3"
    assert about["Measuring chain"].startswith("assumed")
    svg = words(client.get(f"/runs/{number}/chart.svg").text)
    assert "239.5 ± 3.1 °C" in svg
    assert "guarded acceptance" in svg
    csv = signed_in(anselm).get(f"/runs/{number}/chart.csv").text
    assert "Definitions,3" in csv


def make_older(figures: dict[str, Any]) -> dict[str, Any]:
    """Return figures as definitions 1 kept them."""
    outcome = ("value", "unit", "at_s", "is_censored", "not_reached", "cannot_say")

    def strip(said: Any) -> Any:
        if not isinstance(said, dict):
            return said
        kept = {name: said[name] for name in outcome if name in said}
        if "longest" in said:
            kept |= {"longest": strip(said["longest"]), "threshold_c": said["threshold_c"]}
        return kept

    added = {"correction_k", "resolution_k", "noise_k", "ceilings", "zones"}
    line = {"is_censored", "uncertainty"}
    verdict = figures["verdict"]
    return {
        "definitions": 1,
        "channels": [
            {name: strip(value) for name, value in one.items() if name not in added}
            for one in figures["channels"]
        ],
        "site": {
            name: strip(figures["site"][name]) for name in ("spread", "all_above_liquidus", "lift")
        },
        "faults": figures["faults"],
        "verdict": {
            "state": verdict["state"],
            "window_use_pct": verdict["window_use_pct"],
            "deciding": {k: v for k, v in verdict["deciding"].items() if k not in line},
            "lines": [{k: v for k, v in one.items() if k not in line} for one in verdict["lines"]],
            "left_out": verdict["left_out"],
        },
    }


def keep_as_older(shop: Shop, sessions: Sessions) -> tuple[int, dict[str, Any]]:
    """Complete a run as a house of before would have, in the database itself."""
    with sessions.write() as session:
        job = shop.open_job(session)
        shop.clear(session, job)
        done = shop.record(session, job, StepKind.REMOVE).id
        number = shop.start(session, job, StepKind.REMOVE).id
        session.commit()
    with sessions.engine.begin() as connection:
        row = connection.execute(text("SELECT * FROM traces")).mappings().one()
        figures = connection.execute(
            text("SELECT figures, window_use_pct FROM runs WHERE id = :id"), {"id": done}
        ).one()
        known = figures[0] if isinstance(figures[0], dict) else json.loads(figures[0])
        older = make_older(known)
        columns = [name for name in row if name != "id"]
        connection.execute(
            text(
                f"INSERT INTO traces ({', '.join(columns)}) SELECT {', '.join(columns)} FROM traces"
            )
        )
        trace_id = connection.execute(text("SELECT max(id) FROM traces")).scalar_one()
        connection.execute(
            text(
                "UPDATE runs SET state = 'complete', trace_id = :trace, ended_at = started_at, "
                "figures = :figures, verdict = 'inside', window_use_pct = :use WHERE id = :id"
            ),
            {"trace": trace_id, "figures": json.dumps(older), "use": figures[1], "id": number},
        )
    return number, older


def test_figures_of_older_definitions_are_shown_as_they_are_and_say_so(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    number, older = keep_as_older(shop, sessions)
    whole = client.get(f"/runs/{number}?show=uncertainty&show=crossings").text
    # What stands for the part is measured now, by the definitions of today.
    kept, rest = whole.split("<h2>Never exceed</h2>")
    kept = re.sub(r"<noscript>.*?</noscript>", "", kept, flags=re.DOTALL)
    page = words(kept + rest.split("<h2>", maxsplit=1)[1])
    assert "Made by definitions 1: each value was held against its limits as it was read" in page
    assert "238.0 °C" in page
    assert "± 3.1" not in page
    assert "No crossings are kept with these figures." in page
    assert client.get(f"/api/v1/runs/{number}").json()["figures"] == older
    about = client.get(f"/runs/{number}/chart.svg").text
    assert "Definitions 1" in words(about)


def test_figures_of_older_definitions_are_named_and_not_computed_again(
    shop: Shop, sessions: Sessions
) -> None:
    number, _ = keep_as_older(shop, sessions)
    with sessions.read() as session:
        assert list(list_kept_runs(session)) == [1, number]
        again = recompute_run(session, number)
        assert (again.outcome, again.definitions) == (Outcome.OLDER, 1)
        assert recompute_run(session, 1).outcome is Outcome.SAME


def test_a_kept_number_that_is_another_is_found_and_named(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    now = client.get(f"/api/v1/runs/{record(shop, sessions)}").json()["figures"]
    kept = json.loads(json.dumps(now))
    assert list(list_differences(kept, now)) == []
    kept["channels"][0]["peak"]["value"] = 237.0
    # The last digit of an uncertainty may fall another way on another machine.
    kept["channels"][0]["peak"]["expanded"] += 0.001
    assert list(list_differences(kept, now)) == [
        "channels.T1.peak.value is kept as 237.0, now 238.0"
    ]


def test_recompute_counts_what_is_as_kept_and_ends_with_0(
    shop: Shop, sessions: Sessions, monkeypatch: pytest.MonkeyPatch
) -> None:
    record(shop, sessions)
    monkeypatch.setenv(
        "WICKBOOK_DATABASE_URL", sessions.engine.url.render_as_string(hide_password=False)
    )
    result = CliRunner().invoke(main, ["recompute"])
    assert result.exit_code == 0, result.output
    assert "1 of 1 runs computed again by definitions 3: 1 as kept, 0 differ." in result.output


def test_sentences_that_were_kept_in_celsius_are_shown_on_the_scale_asked_for(
    client: TestClient, shop: Shop, sessions: Sessions
) -> None:
    body = limit(make_body(), [{"metric": "peak_c", "roles": ["joint_centre"], "upper": 239}])
    with sessions.write() as session:
        shop.revision_id = publish_recipe(shop, session, body, code="LIM-U3-NEAR")
        session.commit()
    number = record(shop, sessions)
    page = words(client.get(f"/runs/{number}?unit=F&show=uncertainty").text)
    assert "460.4 °F ± 5.6 °F" in page
    assert "closer to the upper limit of 462.2 °F than its uncertainty" in page
