"""The rules of benches."""

from app.core.refusals import Conflict, Unknown


class BenchUnknown(Unknown):
    """No bench has this number."""

    code = "plant.bench_unknown"


class BenchCodeTaken(Conflict):
    """Another bench has this code already."""

    code = "plant.bench_code_taken"


class BenchRetired(Conflict):
    """The bench is out of use."""

    code = "plant.bench_retired"


def check_in_use(code: str, *, is_retired: bool) -> None:
    """Refuse with BenchRetired when a bench is out of use."""
    if is_retired:
        raise BenchRetired(f"Bench {code} is out of use; choose another.", field="bench_id")
