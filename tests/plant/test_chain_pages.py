"""How a bench measures, on its page and without a browser."""

from datetime import timedelta

from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.plant.chain_form import arrange, read_form, spell_form
from app.plant.measuring import CHAIN_EXAMPLE, parse_chain
from app.plant.queries import find_chain
from app.plant.tables import Bench
from tests.conftest import Look, MovableClock, SignedIn

BENCH = {"code": "B1", "title": "Window"}
TYPED = {
    "version": "1",
    "thermocouple_type": "K",
    "thermocouple_class": "IEC 60584-1 class 1",
    "logger_accuracy_k": "0,7",
    "timebase_ppm": "50",
    "corrections.0.channel": "",
    "corrections.1.channel": "T1",
    "corrections.1.correction_k": "-0.4",
    "corrections.1.expanded_k": "0,6",
    "corrections.1.certificate": "C <118>",
    "corrections.1.valid_until": "2027-03-31",
    "corrections.1.covers": "logger",
}


def add_bench(client: TestClient) -> str:
    bench_id = client.post("/api/v1/benches", json=BENCH).json()["id"]
    return f"/setup/benches/{bench_id}"


def test_a_form_gives_back_the_chain_it_was_filled_with() -> None:
    chain = parse_chain(CHAIN_EXAMPLE)
    assert read_form(arrange(spell_form(chain))) == chain


def test_an_administrator_describes_a_bench_and_reads_what_it_comes_to(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client)
    before = client.get(path).text
    assert "Nobody has said yet how this bench measures." in before
    assert "assumed (common practice, no source)" in before
    answer = client.post(f"{path}/measuring-chain", data=TYPED)
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "The measuring chain was saved" in page
    assert "Nobody has said yet" not in page
    assert "C &lt;118&gt;" in page
    # Beside 1.5 K of wire: 0.3 K for the calibrated input, 0.7 K for the others (JCGM 100).
    assert "± 1.8 K" in page
    assert "± 1.9 K" in page
    assert "JCGM 100" in page
    assert "seen in a public restatement" in page
    (bench,) = look(select(Bench))
    chain = find_chain(bench)
    assert chain is not None
    assert chain.logger_accuracy_k == 0.7
    assert [one.expanded_k for one in chain.corrections] == [0.6]


def test_wire_whose_limits_are_from_memory_says_to_confirm_them(
    signed_in: SignedIn, ada: Person
) -> None:
    client = signed_in(ada)
    path = add_bench(client)
    client.post(f"{path}/measuring-chain", data={**TYPED, "thermocouple_type": "N"})
    assert "from memory: confirm against your copy" in client.get(path).text


def test_a_refused_chain_keeps_what_was_typed_and_says_what_is_wrong_beside_it(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client)
    typed = {**TYPED, "logger_accuracy_k": "25", "corrections.1.expanded_k": "so-so"}
    answer = client.post(f"{path}/measuring-chain", data=typed)
    assert answer.status_code == 422
    assert "Logger accuracy must be at most 20, not 25" in answer.text
    assert 'id="e-corrections.0.expanded_k">■ must be a number, not so-so' in answer.text
    assert "Calibration 1, U, k = 2" in answer.text
    for kept in ("25", "so-so", "C &lt;118&gt;", "2027-03-31"):
        assert f'value="{kept}"' in answer.text
    assert 'value="Window"' in answer.text
    assert look(select(Bench.measuring_chain)) == [None]


def test_more_rows_than_32_are_refused_and_kept(signed_in: SignedIn, ada: Person) -> None:
    client = signed_in(ada)
    typed = dict(TYPED)
    for number in range(33):
        typed |= {
            f"corrections.{number}.channel": f"C{number}",
            f"corrections.{number}.correction_k": "0",
            f"corrections.{number}.expanded_k": "0",
            f"corrections.{number}.certificate": "C1",
        }
    answer = client.post(f"{add_bench(client)}/measuring-chain", data=typed)
    assert answer.status_code == 422
    assert "may have at most 32 entries, not 33" in answer.text
    assert 'value="C32"' in answer.text


def test_a_form_from_an_older_version_is_refused_and_kept(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    path = add_bench(client)
    client.post(path, data={**BENCH, "title": "Door", "version": "1"})
    answer = client.post(f"{path}/measuring-chain", data=TYPED)
    assert answer.status_code == 422
    assert "you saw version 1, it is now 2" in answer.text
    assert 'value="0,7"' in answer.text
    stale = client.post(f"{path}/measuring-chain/removal", data={"version": "1"})
    assert stale.status_code == 422
    assert look(select(Bench.measuring_chain)) == [None]


def test_a_description_is_taken_out_and_the_page_says_what_counts_again(
    signed_in: SignedIn, ada: Person
) -> None:
    client = signed_in(ada)
    path = add_bench(client)
    client.post(f"{path}/measuring-chain", data=TYPED)
    answer = client.post(f"{path}/measuring-chain/removal", data={"version": "2"})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "what is assumed counts again" in page
    assert "Nobody has said yet how this bench measures." in page


def test_a_lapsed_calibration_is_shown_as_a_caution(
    signed_in: SignedIn, ada: Person, odile: Person, clock: MovableClock
) -> None:
    client = signed_in(ada)
    path = add_bench(client)
    day = f"{clock():%Y-%m-%d}"
    client.post(f"{path}/measuring-chain", data={**TYPED, "corrections.1.valid_until": day})
    assert "calibration lapsed" not in client.get(path).text
    day = f"{clock() - timedelta(days=1):%Y-%m-%d}"
    typed = {**TYPED, "version": "2", "corrections.1.valid_until": day}
    client.post(f"{path}/measuring-chain", data=typed)
    page = signed_in(odile).get(path).text
    assert "calibration lapsed" in page
    assert f"The calibration of T1 was valid until {day}" in page


def test_an_operator_reads_how_a_bench_measures_but_finds_no_form(
    signed_in: SignedIn, ada: Person, odile: Person
) -> None:
    path = add_bench(signed_in(ada))
    client = signed_in(odile)
    page = client.get(path).text
    assert "Only an administrator may describe how a bench measures" in page
    assert 'name="logger_accuracy_k"' not in page
    assert client.post(f"{path}/measuring-chain", data=TYPED).status_code == 403
