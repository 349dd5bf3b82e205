"""The hazard regression, on the likelihood that the search uses, against published fits and statsmodels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from surefoot.errors import BadInput
from surefoot.search.likelihood import log_likelihood
from surefoot.search.regression import HazardFit, fit_hazard

DATA = Path(__file__).parent / "data"


def beetles() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    # Bliss 1935, Annals of Applied Biology 22: beetles after five hours of carbon disulphide (data read).
    frame = pd.read_csv(DATA / "beetle_mortality.csv")
    dose = frame["log10_dose"].to_numpy()
    killed = frame["killed"].to_numpy(dtype=float)
    return dose, frame["exposed"].to_numpy(dtype=float), killed, frame["exposed"].to_numpy() - killed


def fit_beetles() -> tuple[HazardFit, float]:
    dose, exposed, killed, lived = beetles()
    design = np.column_stack([np.ones(2 * dose.size), np.tile(dose, 2)])
    failed = np.repeat([True, False], dose.size)
    weights = np.concatenate([killed, lived])
    # One exposure of "1 hour", the deaths found some time before its end: complementary log-log.
    fit = fit_hazard(design, 1.0, failed, False, weights)
    share = killed / exposed
    with np.errstate(divide="ignore", invalid="ignore"):
        best = np.nansum(killed * np.log(share)) + np.nansum(np.where(lived > 0, lived * np.log1p(-share), 0.0))
    return fit, 2.0 * (best - fit.log_likelihood)


def test_beetle_mortality_reaches_the_published_fit() -> None:
    # Dobson and Barnett, An Introduction to Generalized Linear Models, ch. 7 (figures from memory, recomputed with
    # statsmodels): -39.572, 22.041, deviance 3.446.
    fit, deviance = fit_beetles()
    assert fit.coefficients == pytest.approx([-39.572, 22.041], abs=5e-4)
    assert deviance == pytest.approx(3.446, abs=5e-4)


def test_beetle_mortality_agrees_with_statsmodels() -> None:
    dose, _, killed, lived = beetles()
    link = sm.families.links.CLogLog()
    model = sm.GLM(np.column_stack([killed, lived]), sm.add_constant(dose), family=sm.families.Binomial(link=link)).fit(
        tol=1e-14
    )
    fit, deviance = fit_beetles()
    assert fit.coefficients == pytest.approx(model.params, rel=1e-6)
    assert deviance == pytest.approx(model.deviance, rel=1e-6)
    # Expected against observed information: they agree to a few per cent here, not exactly.
    assert fit.standard_errors == pytest.approx(model.bse, rel=0.05)


def fluid() -> tuple[np.ndarray, np.ndarray]:
    # Nelson 1982, Applied Life Data Analysis: times to breakdown of an insulating fluid (data from memory; the 76
    # rows and 7 stresses match its published descriptions).
    frame = pd.read_csv(DATA / "insulating_fluid.csv")
    assert len(frame) == 76
    return np.log(frame["kilovolts"].to_numpy(dtype=float)), frame["minutes_to_breakdown"].to_numpy(dtype=float)


def test_insulating_fluid_reaches_the_published_power_law() -> None:
    # Nelson 1982; Lawless 1982: time ~ exp(64.911) * kV ** -17.704, standard error of the power 1.187.
    log_kilovolts, minutes = fluid()
    fit = fit_hazard(np.column_stack([np.ones(76), log_kilovolts]), minutes, True, True)
    assert -fit.coefficients[1] == pytest.approx(-17.704, abs=5e-4)
    assert -fit.coefficients[0] == pytest.approx(64.911, abs=2e-3)
    # The published standard error is that of the exponential model's expected information.
    assert fit.standard_errors[1] == pytest.approx(1.187, rel=0.15)


def test_insulating_fluid_agrees_with_statsmodels() -> None:
    # Exponential regression is a gamma GLM with log link and scale 1, which maximises the same likelihood.
    log_kilovolts, minutes = fluid()
    design = np.column_stack([np.ones(76), log_kilovolts])
    model = sm.GLM(minutes, design, family=sm.families.Gamma(link=sm.families.links.Log())).fit(scale=1.0, tol=1e-14)
    fit = fit_hazard(design, minutes, True, True)
    assert -fit.coefficients == pytest.approx(model.params, rel=1e-5)


def test_the_expected_information_gives_the_published_standard_error() -> None:
    # Under the exponential model the expected information is X'X, whatever the data: 1.187 for the power.
    log_kilovolts, _ = fluid()
    design = np.column_stack([np.ones(76), log_kilovolts])
    assert np.sqrt(np.linalg.inv(design.T @ design)[1, 1]) == pytest.approx(1.187, abs=2e-3)


def test_the_search_uses_the_same_likelihood() -> None:
    # Without its two allowances the search's likelihood is the textbook's: exp(-h t), h exp(-h t), 1 - exp(-h t).
    h, t = 0.7, 1.3
    assert float(log_likelihood(h, t, False)) == pytest.approx(-h * t)
    assert float(log_likelihood(h, t, True)) == pytest.approx(np.log(h) - h * t)
    assert float(log_likelihood(h, t, True, False)) == pytest.approx(np.log1p(-np.exp(-h * t)))


def test_without_a_failure_there_is_no_fit() -> None:
    with pytest.raises(BadInput, match="nothing failed"):
        fit_hazard(np.ones((3, 1)), 1.0, False)


def test_separated_data_are_refused() -> None:
    design = np.column_stack([np.ones(4), [0.0, 1.0, 10.0, 11.0]])
    with pytest.raises(BadInput, match="no maximum"):
        fit_hazard(design, 1.0, [False, False, True, True], False, 50.0)
