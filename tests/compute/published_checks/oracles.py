"""Which test holds which function against which independent implementation."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Oracle:
    """A function, the package it must agree with, and where the two define things differently."""

    subject: str
    package: str
    series: str
    difference: str
    module: str
    test: str


NOTHING = "nowhere"
HARD = "untied, tied, constant, uneven times, gaps, 2 and 3 values"
FROM_THREE = "untied, tied, constant, uneven times, gaps, 3 values"
PLAIN = "loads of 70 days, gaps"

ORACLES = (
    Oracle(
        "trends.mann_kendall", "pymannkendall.original_test", HARD,
        "below 2 values ours is nan, the package fails", "test_oracles.py",
        "test_mann_kendall_agrees_with_pymannkendall",
    ),
    Oracle(
        "trends.mann_kendall", "scipy.stats.kendalltau (tau-b)", HARD, "missing values are dropped first",
        "test_oracles.py", "test_tau_b_agrees_with_scipy",
    ),
    Oracle(
        "trends.mann_kendall", "scipy.stats.kendalltau (asymptotic p)", FROM_THREE,
        "scipy corrects no continuity, ours draws S one towards 0; constant: scipy nan, ours 1",
        "test_oracles.py", "test_scipys_asymptotic_p_is_ours_without_the_continuity_correction",
    ),
    Oracle(
        "trends.mann_kendall", "scipy.stats.kendalltau (exact p)", "untied, 3 to 10 values",
        "scipy has no exact p under ties; there ours is held against every permutation", "test_trends.py",
        "test_the_exact_p_without_ties_agrees_with_scipy",
    ),
    Oracle(
        "trends.mann_kendall", "enumeration of all permutations", "tied, 4 to 7 values", NOTHING,
        "test_trends.py",
        "test_the_exact_share_counts_every_order_once",
    ),
    Oracle(
        "trends.theil_sen", "scipy.stats.theilslopes", f"{HARD}, repeated times",
        "ours drops missing values; other rank rules for the limits differ by one rank", "test_oracles.py",
        "test_the_theil_sen_line_agrees_with_scipy",
    ),
    Oracle(
        "trends.false_discovery_control", "scipy.stats.false_discovery_control", "1 to 30 p values", NOTHING,
        "test_trends.py", "test_false_discovery_control_agrees_with_scipy",
    ),
    Oracle(
        "trends.false_discovery_control", "statsmodels multipletests (fdr_bh)", "1, 2, 3 and 15, tied, gaps",
        "ours leaves out what was not tested", "test_oracles.py",
        "test_false_discovery_control_agrees_with_statsmodels_on_what_was_tested",
    ),
    Oracle(
        "hinge.hinge_fit", "statsmodels OLS at the onset found", "rising with noise, gaps",
        "ours spends a third degree of freedom, on the onset", "test_hinge.py",
        "test_the_fit_at_its_onset_agrees_with_least_squares_of_statsmodels",
    ),
    Oracle(
        "broken_line.fit_broken_lines", "statsmodels GLS with the same covariance",
        "rising, uneven days, three correlations",
        "as above; with assumed noise (the default of the pain rule) there is no counterpart",
        "test_oracles.py",
        "test_the_broken_line_agrees_with_generalised_least_squares_of_statsmodels",
    ),
    Oracle(
        "progress.assess_lifts", "scipy.stats.linregress", FROM_THREE,
        "ours takes a normal quantile, not t, and mixes in assumed noise, here off", "test_oracles.py",
        "test_the_slope_of_a_lift_and_its_interval_agree_with_linregress",
    ),
    Oracle(
        "progress.minimal_detectable_change", "scipy.stats.norm", "three levels of confidence", NOTHING,
        "test_oracles.py", "test_the_detectable_change_agrees_with_the_normal_quantile_of_scipy",
    ),
    Oracle(
        "workload.monotony", "pandas mean and std, both ddof", "weeks of mixed days",
        "seven equal days: pandas inf or nan, ours nan", "test_oracles.py",
        "test_monotony_and_strain_agree_with_pandas",
    ),
    Oracle(
        "workload.rolling_ratio", "pandas rolling means", PLAIN, "ours is held back while history is short",
        "test_oracles.py", "test_rolling_ratios_agree_with_pandas",
    ),
    Oracle(
        "workload.ewma", "pandas ewm(adjust=False, ignore_na=True)", PLAIN,
        "pandas by itself lets a missing day fade the past; ours keeps the average", "test_oracles.py",
        "test_the_average_and_its_ratio_agree_with_pandas_that_ignores_missing_days",
    ),
    Oracle(
        "exposure.sum_site_days", "pandas groupby", "400 sets, 30 days, 6 sites", NOTHING, "test_exposure.py",
        "test_sets_are_added_up_as_pandas_does",
    ),
    Oracle(
        "pain.compare_weeks", "numpy.nanmedian", "20 fortnights, gaps", NOTHING, "test_pain.py",
        "test_medians_agree_with_those_of_numpy",
    ),
)  # fmt: skip
