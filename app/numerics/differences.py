"""What one run's metric is more than another's."""

from app.numerics.errors import NumericsError
from app.numerics.values import Measured, Outcome, Unit


def compute_difference(of: Outcome, minus: Outcome) -> Outcome:
    """Difference of two outcomes of one metric; of temperatures in K, else in their own unit.

    Censored when either is. An outcome without a value is the answer, the first one's before the
    second's. Raises NumericsError for two units: they are two metrics.
    """
    if not isinstance(of, Measured):
        return of
    if not isinstance(minus, Measured):
        return minus
    if of.unit is not minus.unit:
        raise NumericsError(f"A value in {of.unit} and one in {minus.unit} have no difference.")
    return Measured(
        value=of.value - minus.value,
        unit=Unit.KELVIN if of.unit is Unit.CELSIUS else of.unit,
        is_censored=of.is_censored or minus.is_censored,
    )
