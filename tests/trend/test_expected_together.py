"""Covariances of expectations: they hold the sds that are told of single readings and of a set-up's neighbours."""

import numpy as np
import pytest
from by_frames import foretold
from test_expected import ON, SAME, register, visits

from monitor.terms import Method


@pytest.mark.parametrize("methods", [(Method.STRING,), (Method.PLUMB, Method.STRING), (Method.LASER,)])
def test_covariances_hold_the_sds_that_are_told_beside_them(methods: tuple[Method, ...]) -> None:
    walls, marks, events = register()
    found = foretold(visits(methods), walls, marks, events, SAME, ON)
    assert set(found["method"]) == {str(method) for method in methods}
    for _, group in found.groupby("method"):
        assert all(others == group["mark"].tolist() for others in group["others"].map(sorted))
        order = {mark: i for i, mark in enumerate(group["others"].iloc[0])}
        at = [order[mark] for mark in group["mark"]]
        spread = np.array(group["spread_mm2"].tolist())[:, at]
        errors = np.array(group["setup_mm2"].tolist())[:, at]
        np.testing.assert_allclose(spread, spread.T, atol=1e-9)
        together = spread + errors
        sd = group["sd_mm"].to_numpy()
        known = ~np.isnan(sd)
        np.testing.assert_allclose(np.diag(together)[known], sd[known] ** 2)
        for i, within in enumerate(group["sd_within_mm"]):
            mates = np.flatnonzero(errors[i])
            if not np.isnan(within) and len(mates) > 1:
                contrast = np.zeros(len(group))
                contrast[mates] = -1 / (len(mates) - 1)
                contrast[i] = 1
                assert contrast @ together @ contrast == pytest.approx(within**2)
