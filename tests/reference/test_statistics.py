"""Case use against published and computed values of the Poisson-binomial distribution."""

import numpy as np
import pytest
from scipy import stats

from kits.explosion import UseLine, case_use
from stock.planning import pmf

POISSON_BINOMIAL = {
    # Computed by convolution and scipy.stats.poisson_binom (SciPy 1.17.1).
    (0.9, 0.5, 0.2): [0.04, 0.41, 0.46, 0.09],
    (0.1, 0.2, 0.3, 0.4): [0.3024, 0.4404, 0.2144, 0.0404, 0.0024],
    # Published: SciPy's own tests (test_discrete_distns.py), values there from R's poisbinom package.
    (0.9480654803913988, 0.052428488100509374, 0.25863527358887417, 0.057764076043633206): [
        0.03437634436778785,
        0.6435428452689745,
        0.2936345519235468,
        0.02770366475041622,
        0.000742593689274733,
    ],
    # Computed by convolution and scipy.stats.poisson_binom (SciPy 1.17.1).
    (0.95, 0.9, 0.9, 0.8, 0.75, 0.6, 0.5, 0.3, 0.15, 0.05): [
        2.82625e-06,
        0.000133279375,
        0.00236328,
        0.020574415,
        0.095450275,
        0.24156403875,
        0.3283985925,
        0.22852692,
        0.07347337875,
        0.009201346875,
        0.0003116475,
    ],
}


@pytest.mark.parametrize("chances", POISSON_BINOMIAL)
def test_one_finding_a_case_gives_the_poisson_binomial(chances):
    line = UseLine(item="membrane", chance=0.3, finding="F-FPM", instance=11)
    cases = [case_use([line], {"F-FPM": chance})["membrane"] for chance in chances]
    total = pmf.convolve_all(cases)
    np.testing.assert_allclose(total, POISSON_BINOMIAL[chances], rtol=1e-12, atol=1e-15)
    oracle = stats.poisson_binom(chances)
    assert pmf.mean(total) == pytest.approx(oracle.mean())
    assert pmf.variance(total) == pytest.approx(oracle.var())


@pytest.mark.parametrize("chances", POISSON_BINOMIAL)
def test_one_finding_a_site_of_one_case_gives_the_same(chances):
    lines = [
        UseLine(item="membrane", chance=chance, finding="F-FPM", instance=site)
        for site, chance in enumerate(chances)
    ]
    np.testing.assert_allclose(case_use(lines, {})["membrane"], POISSON_BINOMIAL[chances], rtol=1e-12)
