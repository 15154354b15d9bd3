import numpy as np
import polars as pl
import pytest

from analysis.arrays import FloatArray
from analysis.bootstrap import cluster_multiplicities
from analysis.logistic import LogisticFit, fit_logistic
from analysis.standardise import StandardisedRisks, standardised_risks
from analysis.standardise_bootstrap import bootstrap_standardised_risks

Arms = tuple[FloatArray, FloatArray]
TERMS = ("smoke", "age", "lwt", "race2", "race3")


@pytest.fixture(scope="module")
def arms(birthwt: pl.DataFrame) -> Arms:
    x = birthwt.select(TERMS).to_numpy().astype(float)
    nobody, everybody = x.copy(), x.copy()
    nobody[:, 0], everybody[:, 0] = 0, 1
    return nobody, everybody


@pytest.fixture(scope="module")
def smoking(birthwt: pl.DataFrame) -> LogisticFit:
    x = birthwt.select(TERMS).to_numpy().astype(float)
    return fit_logistic(x, birthwt["low"].to_numpy(), names=TERMS)


@pytest.fixture(scope="module")
def risks(smoking: LogisticFit, arms: Arms) -> StandardisedRisks:
    return standardised_risks(smoking, *arms)


def test_without_other_terms_the_risks_are_the_proportions(birthwt: pl.DataFrame) -> None:
    """Second route: 30 of 74 smokers and 29 of 115 others, with Wald's error of a difference."""
    x = birthwt.select("smoke").to_numpy().astype(float)
    fit = fit_logistic(x, birthwt["low"].to_numpy())
    found = standardised_risks(fit, np.zeros_like(x), np.ones_like(x))
    assert found.exposed.estimate == pytest.approx(30 / 74)
    assert found.reference.estimate == pytest.approx(29 / 115)
    p1, p0 = 30 / 74, 29 / 115
    variance = p1 * (1 - p1) / 74 + p0 * (1 - p0) / 115
    assert found.difference.std_error == pytest.approx(np.sqrt(variance), rel=1e-9)
    assert found.ratio.estimate == pytest.approx(p1 / p0)


def test_limits_stand_on_their_scales(risks: StandardisedRisks) -> None:
    d = risks.difference
    assert d.high - d.estimate == pytest.approx(1.959964 * d.std_error, rel=1e-6)
    r = risks.ratio
    assert np.log(r.high / r.estimate) == pytest.approx(1.959964 * r.std_error, rel=1e-6)
    assert 0 < risks.reference.low < risks.reference.estimate < risks.reference.high < 1
    assert risks.number_needed.estimate == pytest.approx(1 / d.estimate)
    assert (risks.number_needed.low, risks.number_needed.high) == (1 / d.high, 1 / d.low)


def test_difference_that_may_be_nil_sends_the_number_needed_through_infinity(
    birthwt: pl.DataFrame,
) -> None:
    x = birthwt.select("ftv").to_numpy().astype(float)
    fit = fit_logistic(x, birthwt["low"].to_numpy())
    found = standardised_risks(fit, x, x + 1)
    assert found.difference.low < 0 < found.difference.high
    assert "interval_through_infinity" in found.number_needed.concerns


def test_weights_choose_the_population(smoking: LogisticFit, arms: Arms) -> None:
    half = np.r_[np.ones(90), np.zeros(99)]
    weighted = standardised_risks(smoking, *arms, weights=half)
    cut = standardised_risks(smoking, arms[0][:90], arms[1][:90])
    assert weighted.difference.estimate == pytest.approx(cut.difference.estimate)
    assert weighted.difference.std_error == pytest.approx(cut.difference.std_error)


def test_bootstrap_agrees_with_refits_of_resampled_rows(
    birthwt: pl.DataFrame, risks: StandardisedRisks, arms: Arms
) -> None:
    """Second route: the same draws as repeated rows, one fit each."""
    x, y = birthwt.select(TERMS).to_numpy().astype(float), birthwt["low"].to_numpy()
    animal = np.repeat(np.arange(95), 2)[:189]
    found = bootstrap_standardised_risks(
        risks, x=x, y=y, arms=arms, cluster=animal, replicates=60, seed=3
    )
    differences: list[float] = []
    for counts in cluster_multiplicities(animal, replicates=60, seed=3):
        for column in counts.T:
            times = column.astype(int)
            fit = fit_logistic(np.repeat(x, times, axis=0), np.repeat(y, times))
            each = standardised_risks(fit, *(np.repeat(arm, times, axis=0) for arm in arms))
            differences.append(each.difference.estimate)
    assert found.difference.std_error == pytest.approx(np.std(differences, ddof=1), rel=1e-7)
    assert found.difference.low == pytest.approx(np.quantile(differences, 0.025), abs=1e-9)
    assert found.n_failed == 0
    assert found.difference.estimate == risks.difference.estimate


def test_bootstrap_is_the_same_for_the_same_seed_and_differs_for_another(
    birthwt: pl.DataFrame, risks: StandardisedRisks, arms: Arms
) -> None:
    x, y = birthwt.select(TERMS).to_numpy().astype(float), birthwt["low"].to_numpy()
    animal = np.arange(189)

    def limits(seed: int) -> tuple[float, float]:
        found = bootstrap_standardised_risks(
            risks, x=x, y=y, arms=arms, cluster=animal, replicates=120, seed=seed
        )
        return found.difference.low, found.difference.high

    assert limits(1) == limits(1) != limits(2)


def test_draws_keep_the_number_of_clusters_and_their_rows_together() -> None:
    animal = np.array(["a", "b", "a", "c"])
    counts = np.concatenate(list(cluster_multiplicities(animal, replicates=120, seed=1)), axis=1)
    assert counts.shape == (4, 120)
    assert (counts[0] == counts[2]).all()
    assert (counts[0] + counts[1] + counts[3] == 3).all()
    first = next(cluster_multiplicities(animal, replicates=50, seed=1))
    assert (counts[:, :50] == first).all()


def test_samples_without_a_fit_are_counted(birthwt: pl.DataFrame) -> None:
    """Two exposed women, one with the event: most samples that draw one of them separate."""
    x = np.zeros((40, 1))
    x[:2] = 1
    y = np.r_[1, 0, np.tile([0, 0, 1], 13)[:38]]
    fit = fit_logistic(x, y)
    point = standardised_risks(fit, np.zeros_like(x), np.ones_like(x))
    found = bootstrap_standardised_risks(
        point, x=x, y=y, arms=(np.zeros_like(x), np.ones_like(x)), cluster=np.arange(40),
        replicates=100, seed=1,
    )  # fmt: skip
    assert 30 < found.n_failed < 90
    assert "resamples_failed" in found.difference.concerns


def test_arms_that_do_not_fit_the_model_are_refused(smoking: LogisticFit) -> None:
    with pytest.raises(ValueError, match=r"must have shape \(n, 5\)"):
        standardised_risks(smoking, np.zeros((3, 2)), np.zeros((3, 2)))
